"""Fetch the faces that drawn forms are printed and filled in with: ``python -m models.forms.fetch_fonts OUT``.

Takes the npm packages ``@fontsource/FAMILY`` (each SIL OFL 1.1 or Apache-2.0, its LICENSE inside the package) and
turns their latin woff2 files into .ttf files in ``OUT/print`` and ``OUT/hand``. Needs the commands ``npm`` and
``tar`` and the Python packages ``fonttools`` and ``brotli``. The faces stay outside the project: only the weights
of the trained network go in.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

PRINT = [
    "roboto",
    "open-sans",
    "lato",
    "montserrat",
    "work-sans",
    "source-sans-3",
    "inter",
    "rubik",
    "poppins",
    "raleway",
    "fira-sans",
    "ubuntu",
    "karla",
    "pt-sans",
    "jost",
    "arimo",
    "questrial",
    "oswald",
    "archivo-narrow",
    "pt-sans-narrow",
    "fjalla-one",
    "bebas-neue",
    "antonio",
    "saira-condensed",
    "fira-sans-condensed",
    "merriweather",
    "lora",
    "crimson-text",
    "eb-garamond",
    "tinos",
    "libre-baskerville",
    "bitter",
    "gelasio",
    "old-standard-tt",
    "roboto-slab",
    "arvo",
    "rokkitt",
    "josefin-slab",
    "cutive-mono",
    "cousine",
    "anonymous-pro",
    "ibm-plex-mono",
    "share-tech-mono",
    "vt323",
    "nunito",
    "varela-round",
    "quicksand",
    "fredoka",
    "dosis",
    "abril-fatface",
    "lobster",
    "righteous",
    "cinzel",
    "limelight",
    "playball",
]
"""Print families: sans, condensed, serif, slab, typewriter, rounded, display. None is a face of the forms that
``tests/measure`` measures on."""

HAND = [
    "caveat",
    "kalam",
    "reenie-beanie",
    "homemade-apple",
    "nothing-you-could-do",
    "cedarville-cursive",
    "covered-by-your-grace",
    "indie-flower",
    "shadows-into-light",
    "gochi-hand",
    "la-belle-aurore",
    "over-the-rainbow",
    "zeyada",
    "swanky-and-moo-moo",
    "sue-ellen-francisco",
    "the-girl-next-door",
    "annie-use-your-telescope",
    "patrick-hand",
    "handlee",
    "rock-salt",
    "coming-soon",
    "loved-by-the-king",
    "dawning-of-a-new-day",
    "kristi",
    "waiting-for-the-sunrise",
    "crafty-girls",
    "architects-daughter",
]
"""Handwriting families."""

WEIGHTS = {"print": (400, 700), "hand": (400,)}


def fetch(family: str, weights: tuple[int, ...], out: Path) -> int:
    """Write the latin faces of one family into `out`; return how many there were (0 where npm has none)."""
    from fontTools.ttLib import TTFont

    with tempfile.TemporaryDirectory() as folder:
        packed = subprocess.run(
            ["npm", "pack", "--silent", f"@fontsource/{family}"],
            cwd=folder, capture_output=True, text=True, check=False,
        )  # fmt: skip
        if packed.returncode:
            return 0
        for archive in Path(folder).glob("*.tgz"):
            subprocess.run(["tar", "xzf", archive.name], cwd=folder, check=True)
        found = 0
        for weight in weights:
            source = Path(folder) / "package" / "files" / f"{family}-latin-{weight}-normal.woff2"
            if source.exists():
                font = TTFont(source)
                font.flavor = None
                font.save(out / f"{family}-{weight}.ttf")
                found += 1
        return found


def main(out: Path) -> None:
    """Fetch every family into ``out/print`` and ``out/hand``."""
    for name, families in (("print", PRINT), ("hand", HAND)):
        (out / name).mkdir(parents=True, exist_ok=True)
        for family in families:
            print(f"{name} {family}: {fetch(family, WEIGHTS[name], out / name)}", flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
