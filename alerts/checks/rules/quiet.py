"""When an alert ends whose rule is a yes or no each week: after so many counted weeks running in which it was no."""

from collections.abc import Sequence


def ends(before: Sequence[bool], *, met: bool, weeks: int) -> bool:
    """Whether this counted week ends an alert.

    `before` says of the counted weeks since it opened, that one included, oldest first, whether its rule was met; `met`
    says it of this week. Weeks without a count aren't among them: they show nothing.
    """
    if met:
        return False
    running = next((number for number, was in enumerate(reversed(before)) if was), len(before))
    return running + 1 >= weeks
