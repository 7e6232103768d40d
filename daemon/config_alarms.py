"""What the alarms of a configuration say otherwise than the library.

The rule of this file: what is written holds for this configuration; the library, which others use as
well, stays as it is.
"""

from typing import Any, Final

from wardian.daemon.config_models import AdviceKeys, ConditionKeys
from wardian.daemon.library import Library
from wardian.daemon.written import Written, described
from wardian.rules.amounts import NotAnAmount
from wardian.rules.documents import Path, nearest, shown

SECTION: Final = "alarms"
_LISTED: Final = "`wardian alarms --explain` lists all alarms"


def read_alarms(written: Written, library: Library) -> Library:
    """Return the library with what a configuration says of alarms; every mistake in that is noted."""
    names = {advice.alarm for advice in library.alarms()}
    changes: dict[str, dict[str, Any]] = {}
    figures: dict[str, dict[str, Any]] = {}
    for name in written.mapping((SECTION,)):
        path: Path = (SECTION, name)
        if name not in names:
            written.mistake(path, f"{shown(name)} is no alarm", nearest(name, names) or _LISTED)
        elif keys := written.read(ConditionKeys if name in library.conditions else AdviceKeys, path):
            figures[name] = _figures(written, path, name, library)
            changes[name] = {
                field: getattr(keys, field) for field in keys.model_fields_set if field != "figures"
            }
    return library.overridden(changes, figures) if changes else library


def _figures(written: Written, path: Path, name: str, library: Library) -> dict[str, Any]:
    known = library.figures.get(name)
    if known is None:
        return {}
    found = {}
    for figure, value in written.mapping((*path, "figures")).items():
        here = (*path, "figures", figure)
        if figure not in known:
            written.mistake(
                here, f"{shown(figure)} is no figure of {name}", nearest(figure, known) or "it goes by none"
            )
        elif not isinstance(value, (int, float, str)) or isinstance(value, bool):
            written.mistake(
                here, f"is {described(value)}", f"a value such as {known[figure].reasoned.text} is accepted"
            )
        else:
            try:
                known[figure].read(str(value))
            except NotAnAmount as error:
                hint = error.hint or f"a value such as {known[figure].reasoned.text} is accepted"
                written.mistake(here, error.problem, hint)
            else:
                found[figure] = str(value)
    return found
