"""What the alarms of a configuration say otherwise than the library.

The rule of this file: what is written holds for this configuration; the library, which others use as
well, stays as it is.
"""

from typing import Final

from wardian.daemon.config_models import AdviceKeys
from wardian.daemon.library import Library
from wardian.daemon.written import Written
from wardian.rules.documents import Path, nearest, shown

SECTION: Final = "alarms"
_LISTED: Final = "`wardian alarms --explain` lists all alarms"


def read_alarms(written: Written, library: Library) -> Library:
    """Return the library with what a configuration says of alarms; every mistake in that is noted."""
    names = {advice.alarm for advice in library.alarms()}
    changes = {}
    for name in written.mapping((SECTION,)):
        path: Path = (SECTION, name)
        if name not in names:
            written.mistake(path, f"{shown(name)} is no alarm", nearest(name, names) or _LISTED)
        elif keys := written.read(AdviceKeys, path):
            changes[name] = {field: getattr(keys, field) for field in keys.model_fields_set}
    return library.overridden(changes) if changes else library
