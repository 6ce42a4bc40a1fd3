"""What slips lie on, and what lies beside them: drawn at random, wider than any kitchen."""

import cv2
import numpy as np
import numpy.typing as npt

Plane = npt.NDArray[np.float32]
Generator = np.random.Generator


def noise(shape: tuple[int, int], size: tuple[float, float], rng: Generator) -> Plane:
    """Smooth noise whose features are about ``size`` (rows, columns) pixels; standard deviation near one."""
    small = (max(2, int(shape[0] / size[0]) + 3), max(2, int(shape[1] / size[1]) + 3))
    plane = rng.standard_normal(small, dtype=np.float32)
    large = cv2.resize(
        plane, (int(small[1] * size[1]) + 2, int(small[0] * size[0]) + 2), interpolation=cv2.INTER_CUBIC
    )
    large = (
        cv2.resize(large, (shape[1], shape[0]))
        if large.shape[0] < shape[0] or large.shape[1] < shape[1]
        else large
    )
    return np.asarray(large[: shape[0], : shape[1]], np.float32)


def _colour(rng: Generator) -> npt.NDArray[np.float32]:
    """Any colour, muted ones and near-whites more often."""
    kind = rng.random()
    if kind < 0.3:
        return np.asarray(rng.uniform(190, 255) + rng.normal(0, 6, 3), np.float32)
    if kind < 0.5:
        return np.asarray(rng.uniform(15, 120) + rng.normal(0, 10, 3), np.float32)
    if kind < 0.7:
        return np.asarray(
            np.array([1.0, 0.72, 0.48]) * rng.uniform(60, 230) + rng.normal(0, 12, 3), np.float32
        )
    return np.asarray(rng.uniform(20, 245, 3), np.float32)


def _mixed(mask: Plane, rng: Generator) -> Plane:
    one, other = _colour(rng), _colour(rng)
    if rng.random() < 0.3:
        other = one + rng.normal(0, 14, 3).astype(np.float32)
    return np.asarray(one + (other - one) * mask[..., None], np.float32)


def _turned(h: int, w: int, rng: Generator, lean: float = 0.25) -> tuple[Plane, Plane]:
    """Coordinates of a tilted, turned plane."""
    angle = float(rng.uniform(0, np.pi))
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    depth = (
        1 + float(rng.uniform(-lean, lean)) * (y / h - 0.5) + float(rng.uniform(-lean, lean)) * (x / w - 0.5)
    )
    x, y = (x - w / 2) / depth, (y - h / 2) / depth
    c, s = np.float32(np.cos(angle)), np.float32(np.sin(angle))
    return x * c - y * s + 2000, x * s + y * c + 2000


def _wood(h: int, w: int, rng: Generator) -> Plane:
    u, v = _turned(h, w, rng)
    long = noise((h, w), (60, 60), rng) * float(rng.uniform(1, 12))
    period = float(rng.uniform(4, 40))
    grain = np.sin(v / period + long / 4) * 0.5 + 0.3 * np.sin(v / (period * 0.23) + long)
    grain = grain + 0.3 * noise((h, w), (3, 3), rng)
    base = np.array([1.0, rng.uniform(0.6, 0.85), rng.uniform(0.35, 0.7)], np.float32) * float(
        rng.uniform(50, 225)
    )
    image = base * (1 + float(rng.uniform(0.02, 0.18)) * grain[..., None])
    if rng.random() < 0.4:
        plank = float(rng.uniform(40, 160))
        gap = np.clip(1 - np.abs((v % plank) - plank / 2) / float(rng.uniform(0.7, 2.5)), 0, 1)
        image *= (1 - float(rng.uniform(0.2, 0.8)) * gap)[..., None]
        image *= 1 + 0.12 * np.sin(np.floor((v + plank / 2) / plank) * 37.7)[..., None]
    return np.asarray(image, np.float32)


def _weave(h: int, w: int, rng: Generator) -> Plane:
    """Checks, stripes, tartan."""
    u, v = _turned(h, w, rng)
    p, q = float(rng.uniform(5, 80)), float(rng.uniform(5, 80))
    if rng.random() < 0.5:
        q = p
    soft = float(rng.uniform(0.6, 6))
    duty = float(rng.uniform(-0.6, 0.6))
    a = np.clip((np.sin(2 * np.pi * u / p) - duty) * soft + 0.5, 0, 1)
    b = np.clip((np.sin(2 * np.pi * v / q) - duty) * soft + 0.5, 0, 1)
    kind = rng.random()
    mask = (
        a
        if kind < 0.35
        else 0.5 * (a + b)
        if kind < 0.75
        else np.abs(a - b)
        if kind < 0.9
        else np.maximum(a, b)
    )
    return _mixed(np.asarray(mask, np.float32), rng)


def _spots(h: int, w: int, rng: Generator) -> Plane:
    """Dots, petals, leaves, on a grid or strewn."""
    if rng.random() < 0.5:
        u, v = _turned(h, w, rng)
        p = float(rng.uniform(10, 80))
        shift = (np.floor(v / p) % 2) * p / 2 * float(rng.integers(0, 2))
        x, y = ((u + shift) % p) - p / 2, (v % p) - p / 2
        ring, way = np.hypot(x, y), np.arctan2(y, x)
        petals = (
            p
            * float(rng.uniform(0.12, 0.42))
            * (1 + float(rng.uniform(0, 0.45)) * np.cos(float(rng.integers(2, 8)) * way))
        )
        return _mixed(np.asarray(np.clip((petals - ring) / 1.5 + 0.5, 0, 1), np.float32), rng)
    mask = np.zeros((h, w), np.float32)
    size = float(rng.uniform(3, 45))
    for _ in range(int(min(400, rng.uniform(0.1, 0.6) * h * w / size**2))):
        x, y = int(rng.integers(w)), int(rng.integers(h))
        if rng.random() < 0.6:
            axes = (int(size * rng.uniform(0.2, 0.7)) + 1, int(size * rng.uniform(0.1, 0.5)) + 1)
            cv2.ellipse(
                mask,
                (x, y),
                axes,
                float(rng.uniform(0, 180)),
                0,
                360,
                (float(rng.uniform(0.3, 1)),),
                -1,
                cv2.LINE_AA,
            )
        else:
            n = int(rng.integers(3, 9))
            way = np.sort(rng.uniform(0, 2 * np.pi, n))
            far = size * rng.uniform(0.3, 0.8, n)
            points = np.stack([x + far * np.cos(way), y + far * np.sin(way)], 1).astype(np.int32)
            cv2.fillPoly(mask, [points], (float(rng.uniform(0.3, 1)),), cv2.LINE_AA)
    return _mixed(mask, rng)


def _carpet(h: int, w: int, rng: Generator) -> Plane:
    mask = np.zeros((h, w), np.float32)
    size = float(rng.uniform(1.2, 8))
    for _ in range(int(rng.integers(1, 4))):
        mask += noise((h, w), (size, size * float(rng.uniform(0.5, 2))), rng) * 0.5
        size *= float(rng.uniform(2, 6))
    return _mixed(np.clip(0.5 + mask * float(rng.uniform(0.1, 1)), 0, 1), rng)


def _plain(h: int, w: int, rng: Generator) -> Plane:
    image = np.empty((h, w, 3), np.float32)
    image[:] = _colour(rng)
    if rng.random() < 0.5:
        image[:] = float(rng.uniform(215, 255)) + rng.normal(0, 4, 3)
    image *= (1 + float(rng.uniform(0, 0.04)) * noise((h, w), (float(rng.uniform(1, 60)),) * 2, rng))[
        ..., None
    ]
    return image


def _tiles(h: int, w: int, rng: Generator) -> Plane:
    u, v = _turned(h, w, rng)
    p, q = float(rng.uniform(25, 240)), float(rng.uniform(25, 240))
    if rng.random() < 0.6:
        q = p
    shift = (np.floor(v / q) % 2) * p / 2 * float(rng.integers(0, 2))
    thin = float(rng.uniform(0.7, 5))
    gap = np.maximum(
        np.clip(thin - np.abs(((u + shift) % p) - p / 2), 0, 1), np.clip(thin - np.abs((v % q) - q / 2), 0, 1)
    )
    image = _mixed(np.asarray(gap, np.float32), rng)
    each = np.sin(np.floor((u + shift + p / 2) / p) * 12.99 + np.floor((v + q / 2) / q) * 78.2)
    return np.asarray(image * (1 + float(rng.uniform(0, 0.12)) * each)[..., None], np.float32)


def _print(h: int, w: int, rng: Generator) -> Plane:
    """Newspaper, a magazine: lines of text, blocks, and no form."""
    image = _plain(h, w, rng)
    ink = _colour(rng)
    text = float(rng.uniform(3, 12))
    column = float(rng.uniform(60, 250))
    for x in np.arange(float(rng.uniform(-60, 10)), w, column + text * 2):
        y = float(rng.uniform(-20, 10))
        while y < h:
            if rng.random() < 0.04:
                deep = float(rng.uniform(20, 120))
                image[max(0, int(y)) : int(y + deep), max(0, int(x)) : max(0, int(x + column))] = _colour(rng)
                y += deep + text
                continue
            at = x
            while at < x + column:
                long = float(rng.uniform(1, 6)) * text * 0.6
                if rng.random() < 0.9:
                    cv2.line(
                        image,
                        (int(at), int(y)),
                        (int(min(at + long, x + column)), int(y)),
                        ink.tolist(),
                        max(1, int(text * 0.35)),
                    )
                at += long + text * 0.5
            y += text * 1.3
    m = cv2.getRotationMatrix2D((w / 2, h / 2), float(rng.uniform(0, 360)), 1.5)
    return np.asarray(cv2.warpAffine(image, m, (w, h), borderMode=cv2.BORDER_REFLECT), np.float32)


_KINDS = (_wood, _weave, _spots, _carpet, _plain, _tiles, _print)
_SHARES = (0.2, 0.17, 0.17, 0.13, 0.2, 0.09, 0.04)


def table(h: int, w: int, rng: Generator) -> Plane:
    """Return (h, w, 3) float32 RGB: what the slips lie on."""

    def one() -> Plane:
        return _KINDS[int(rng.choice(len(_KINDS), p=_SHARES))](h, w, rng)

    image = one()
    if rng.random() < 0.3:
        image *= (1 + float(rng.uniform(0.005, 0.06)) * noise((h, w), (1.5, 1.5), rng))[..., None]
    if rng.random() < 0.12:  # the table's edge, a rug's, a windowsill's
        angle, off = float(rng.uniform(0, 2 * np.pi)), float(rng.uniform(0.05, 0.45))
        y, x = np.mgrid[0:h, 0:w].astype(np.float32)
        side = (x - w / 2) * np.cos(angle) + (y - h / 2) * np.sin(angle) - off * max(h, w)
        mask = np.clip(side + 0.5, 0, 1)[..., None]
        image = image * (1 - mask) + one() * mask
    for _ in range(int(rng.choice([0, 0, 0, 1, 2]))):  # folds of a cloth
        angle = float(rng.uniform(0, np.pi))
        y, x = np.mgrid[0:h, 0:w].astype(np.float32)
        far = (x - rng.uniform(0, w)) * np.cos(angle) + (y - rng.uniform(0, h)) * np.sin(angle)
        image *= (
            1
            + float(rng.uniform(-0.15, 0.15))
            * np.tanh(far / 3)
            * np.exp(-((far / float(rng.uniform(6, 60))) ** 2))
        )[..., None]
    return np.asarray(np.clip(image, 0, 255), np.float32)


SKINS = ((224, 178, 152), (198, 144, 112), (150, 100, 72), (104, 68, 50), (240, 200, 180))


def _quad_at(x: float, y: float, width: float, height: float, angle: float) -> npt.NDArray[np.float32]:
    return np.asarray(cv2.boxPoints(((x, y), (width, height), angle)), np.float32)


def thing(image: Plane, rng: Generator) -> None:
    """Lay something that is no slip into the picture, in place."""
    h, w = image.shape[:2]
    x, y, angle = float(rng.uniform(0, w)), float(rng.uniform(0, h)), float(rng.uniform(0, 360))
    kind = rng.random()
    over = np.zeros((h, w), np.float32)
    colour = _colour(rng)
    if kind < 0.25:  # a pen, a ruler, a cable
        length, thick = float(rng.uniform(40, 200)), float(rng.uniform(3, 14))
        cv2.fillConvexPoly(over, _quad_at(x, y, length, thick, angle).astype(np.int32), (1.0,), cv2.LINE_AA)
    elif kind < 0.4:  # a cup, a coin, a plate
        r = int(rng.uniform(6, 90))
        cv2.circle(over, (int(x), int(y)), r, (1.0,), -1, cv2.LINE_AA)
        cv2.circle(image, (int(x), int(y)), r, colour.tolist(), -1)
        cv2.circle(image, (int(x), int(y)), int(r * 0.7), _colour(rng).tolist(), -1)
        return
    elif kind < 0.6:  # a phone, a book, a card, a box
        size = (float(rng.uniform(40, 200)), float(rng.uniform(40, 260)))
        cv2.fillConvexPoly(over, _quad_at(x, y, *size, angle).astype(np.int32), (1.0,), cv2.LINE_AA)
        cv2.fillConvexPoly(image, _quad_at(x, y, *size, angle).astype(np.int32), colour.tolist(), cv2.LINE_AA)
        share = float(rng.uniform(0.5, 0.95))
        cv2.fillConvexPoly(
            image,
            _quad_at(x, y, size[0] * share, size[1] * share, angle).astype(np.int32),
            _colour(rng).tolist(),
            cv2.LINE_AA,
        )
        return
    elif kind < 0.85:  # plain paper, an envelope, a page of print, a picture postcard
        size = (int(rng.uniform(60, 260)), int(rng.uniform(60, 300)))
        sheet = np.full((size[1], size[0], 3), float(rng.uniform(215, 255)), np.float32)
        what = rng.random()
        if what < 0.35:
            sheet[:] = _print(size[1], size[0], rng)
        elif what < 0.5:
            sheet[:] = table(size[1], size[0], rng)
        elif what < 0.65:
            cv2.line(sheet, (0, 0), (size[0] // 2, size[1] // 2), (200.0, 200.0, 200.0), 1, cv2.LINE_AA)
            cv2.line(sheet, (size[0], 0), (size[0] // 2, size[1] // 2), (200.0, 200.0, 200.0), 1, cv2.LINE_AA)
        corners = _quad_at(x, y, float(size[0]), float(size[1]), angle)
        flat = np.array([[0, size[1]], [0, 0], [size[0], 0], [size[0], size[1]]], np.float32)
        m = cv2.getPerspectiveTransform(flat, corners)
        mask = cv2.warpPerspective(np.ones(size[::-1], np.float32), m, (w, h))
        soft = cv2.GaussianBlur(mask, (0, 0), 3)[..., None]
        image *= 1 - 0.25 * np.roll(soft, (2, 2), (0, 1)) * (1 - mask[..., None])
        laid = cv2.warpPerspective(sheet, m, (w, h))
        image += (laid - image) * mask[..., None]
        return
    else:  # a hand's or an arm's worth of skin
        colour = np.array(SKINS[int(rng.integers(len(SKINS)))], np.float32)
        cv2.line(
            over,
            (int(x), int(y)),
            (int(x + rng.normal(0, 200)), int(y + rng.normal(0, 200))),
            (1.0,),
            int(rng.uniform(12, 70)),
        )
    over = cv2.GaussianBlur(over, (0, 0), 0.8)[..., None]
    image += (colour - image) * over
