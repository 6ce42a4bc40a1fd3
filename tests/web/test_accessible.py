"""Every page against axe-core (Deque's rules for WCAG 2.2 A and AA and good practice), and the look at any width."""

from importlib import resources
from typing import Any

import pytest
from playwright.sync_api import Page

from tests.web.conftest import KeptPile

PAGES = (
    "/",
    "/pile/{pile}",
    "/pile/{pile}/settle",
    "/pile/{pile}/settle?choices=1",
    "/pile/{pile}/settings",
    "/pile/{pile}/out",
    "/pile/{pile}/notes?whom=all&picture=yes",
    "/pile/{pile}/wrong",
    "/pile/{pile}/names",
    "/pile/{pile}/camera",
    "/slip/{slip}",
    "/slip/{slip}?edit=total.0",
    "/phone",
    "/pair",
    "/people",
    "/pile/{pile}/order",
    "/pile/{pile}/delivery",
    "/pile/{pile}/packing",
    "/pile/{pile}/round",
    "/pile/{pile}/float",
    "/pile/{pile}/cash",
    "/streets?pile={pile}",
    "/nothing",
)
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def violations(page: Page) -> list[str]:
    """What axe-core finds on the page as it stands."""
    found: dict[str, Any] = page.evaluate(
        "tags => axe.run(document, {runOnly: {type: 'tag', values: tags}, resultTypes: ['violations']})", TAGS
    )
    return [
        f"{each['id']} ({each['impact']}): {node['target']} {node['failureSummary']}"
        for each in found["violations"]
        for node in each["nodes"][:2]
    ]


@pytest.fixture(scope="module")
def looked_at(_piles: Any) -> KeptPile:
    pile: KeptPile = next(_piles)
    return pile


@pytest.mark.parametrize("address", PAGES)
def test_axe_finds_no_fault_and_nothing_runs_off_the_page(
    page: Page, looked_at: KeptPile, address: str
) -> None:
    axe = resources.files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")
    slip = looked_at.slip(1).rpartition("/")[2]
    page.goto(looked_at.desk.address + address.format(pile=looked_at.number, slip=slip))
    page.evaluate(axe)
    found = []
    for width, height in ((1440, 900), (360, 740)):
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
            found += [f"{width} {scheme} {each}" for each in violations(page)]
    assert not found


def test_axe_itself_sees_a_fault(page: Page) -> None:
    page.set_content(
        "<html><head><title>x</title></head><body><main><h1>x</h1><img src='a.png'></main></body></html>"
    )
    page.evaluate(resources.files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8"))
    assert any("image-alt" in each for each in violations(page))
