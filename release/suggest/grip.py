"""A grip by what the fingers do, and what changed between two of them."""

from collections.abc import Mapping

# Field of the record -> what it is called, and its choices where they are closed (formats.md).
FIELDS: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "grip_seams": ("seams", ()),  # which seam or leather lies under the index and middle finger
    "grip_offset": ("offset", ()),  # off the centre of the ball: to which side, by how much
    "grip_index": ("index finger", ("flat", "spiked", "knuckled", "braced")),
    "grip_thumb": ("thumb", ("under", "angled", "side")),
    "grip_ball": ("ball", ("across the four seams", "along the narrow seams", "horseshoe facing")),
    "grip_pressure": ("pressure finger", ("index", "middle", "both")),
}


def changes(before: Mapping[str, str], after: Mapping[str, str]) -> tuple[str, ...]:
    """What differs from one grip to the next, one phrase a field: "thumb: side -> under".

    A field that either grip leaves empty is unknown and counts as no change.
    """
    return tuple(
        f"{name}: {before[field]} -> {after[field]}"
        for field, (name, _) in FIELDS.items()
        if before.get(field) and after.get(field) and before[field] != after[field]
    )


def faults(grip: Mapping[str, str]) -> tuple[str, ...]:
    """What is wrong with a grip record, in words; empty where nothing is."""
    unknown = [f"no such grip field: {field}" for field in grip if field not in FIELDS]
    wrong = [
        f"{name} is {grip[field]!r}, not one of {', '.join(choices)}"
        for field, (name, choices) in FIELDS.items()
        if choices and grip.get(field) and grip[field] not in choices
    ]
    return tuple(unknown + wrong)
