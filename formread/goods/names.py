"""How a slip is called when a person is spoken to."""

from collections import Counter

from formread.slips import Report, Slip


def slip_names(report: Report) -> tuple[str, ...]:
    """Name each slip of a pile, in order: its number where it has one of its own, else its photo.

    Returns
    -------
    tuple of str
        One name a slip, all different, the same for the same report.
    """
    numbers = Counter(slip.slip_number for slip in report.slips if slip.slip_number)
    plain = [
        slip.slip_number if slip.slip_number and numbers[slip.slip_number] == 1 else _photo_name(slip)
        for slip in report.slips
    ]
    taken: set[str] = set()
    names: list[str] = []
    for name in plain:
        place = 1
        unique = name
        while unique in taken:
            place += 1
            unique = f"{name}, no. {place}"
        taken.add(unique)
        names.append(unique)
    return tuple(names)


def _photo_name(slip: Slip) -> str:
    photo = slip.photo if slip.page == 1 else f"{slip.photo} page {slip.page}"
    return f"{slip.slip_number} ({photo})" if slip.slip_number else photo
