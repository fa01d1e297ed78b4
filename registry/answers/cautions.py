"""The cautions that belong on answers, in one place so that every page says them alike."""

from datetime import datetime

NOT_ADVICE = "Bench figures describe pumps, not people; they are not medical advice."
MORE_VACUUM = "More vacuum is not more milk and can injure."
DO_NOT_OPEN = "Never open or alter a pump that a person will use."
MILK_PARTS = "Clean parts that touched milk, or keep them apart from bench parts."
MAINS_POWER = "Keep mains power and moisture apart."
REPORT_FAULTS = "Report a suspected device fault to the maker and to the national authority."
CLINICIANS_DECIDE = "Local rules and licensed clinicians decide what a person uses."
MADE_AGAIN = (
    "Made again for a past time: runs and builds count as they did then, while names, labels and what is "
    "known of held runs are those of today."
)
CARRIED = (
    "Some values rest on two clinics alone, or on one clinic for more than half: should a gauge there read "
    "wrong, the centre does too, and nothing shows it."
)

SERIALS = (DO_NOT_OPEN, CLINICIANS_DECIDE)
DISTRIBUTIONS = (NOT_ADVICE, MORE_VACUUM, CLINICIANS_DECIDE)
CLAIMS = (NOT_ADVICE, REPORT_FAULTS, CLINICIANS_DECIDE)
ALERTS = (REPORT_FAULTS, DO_NOT_OPEN, MILK_PARTS, MAINS_POWER)
COMPARISONS = (NOT_ADVICE, MORE_VACUUM, CLINICIANS_DECIDE)
SETTINGS = (MORE_VACUUM, NOT_ADVICE, DO_NOT_OPEN, CLINICIANS_DECIDE)
SWAPS = (NOT_ADVICE, DO_NOT_OPEN, MILK_PARTS, CLINICIANS_DECIDE)
BENCHES = (NOT_ADVICE, MILK_PARTS)
IDENTIFICATIONS = (DO_NOT_OPEN, CLINICIANS_DECIDE)


def carried(*, any_is: bool) -> tuple[str, ...]:
    """What to bear in mind where one clinic carries a value."""
    return (CARRIED,) if any_is else ()


def again(moment: datetime | None) -> tuple[str, ...]:
    """What to bear in mind of an answer made again for a past time; nothing for one of now."""
    return (MADE_AGAIN,) if moment else ()
