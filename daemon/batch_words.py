"""What may be said of how a batch was made, in words alone; how each is read is in batch_fields.

The rule of this file: it loads nothing, because every command line is read with it.
"""

from typing import Final, NamedTuple

TEXT: Final = "TEXT"
COUNT: Final = "N"
YES_NO: Final = "yes|no"
TIME: Final = "TIME"
NAMES: Final = "NAMES"
LENGTH: Final = "LENGTH"
DEGREES: Final = "TEMPERATURE"
PH: Final = "PH"
EC: Final = "EC"
STRENGTH: Final = "STRENGTH"
DURATION: Final = "DURATION"


class Word(NamedTuple):
    """One thing that may be said.

    Attributes:
        name: Its name in ``Details``.
        word: Its name in commands: ``--word``.
        kind: What is written for it.
        words: What it is.
    """

    name: str
    word: str
    kind: str
    words: str


#: In the order of Details, which a test holds.
WORDS: Final = (
    Word("cultivar", "cultivar", TEXT, "the cultivar"),
    Word("source", "source", TEXT, "the plant or plants that the cuttings are from"),
    Word("source_health", "source-health", TEXT, "how those plants were"),
    Word("source_age", "source-age", TEXT, "how old they were"),
    Word("is_flowering", "flowering", YES_NO, "whether they were in flower or bud"),
    Word("cutting", "cutting", TEXT, "what kind of cutting: tip, nodal, semi-ripe, ..."),
    Word("length_mm", "length", LENGTH, "how long the cuttings were, such as 7 cm"),
    Word("leaves", "leaves", COUNT, "how many leaves each was left"),
    Word("taken_ms", "taken", TIME, "when they were cut"),
    Word("held", "held", TEXT, "how they were kept until sticking"),
    Word("held_c", "held-temperature", DEGREES, "how warm they were kept"),
    Word("medium", "medium", TEXT, "the recipe of the medium"),
    Word("medium_lot", "medium-lot", TEXT, "the lot of the medium"),
    Word("medium_ph", "medium-ph", PH, "the acidity of the medium"),
    Word("medium_ec_ms_cm", "medium-ec", EC, "the conductivity of the medium, in mS/cm"),
    Word("cells", "cells", COUNT, "how many cells the tray has"),
    Word("position", "position", TEXT, "where on the bench the tray stands"),
    Word("water", "water", TEXT, "where its water is from"),
    Word("sensors", "sensors", NAMES, "the sensors that watch it, with commas between them"),
    Word("hormone", "hormone", TEXT, "the rooting hormone, or none where none was used"),
    Word("hormone_mg_l", "concentration", STRENGTH, "of the hormone, in mg/l, mg/kg or %"),
    Word("hormone_form", "hormone-form", TEXT, "of the hormone: powder, gel, liquid, ..."),
    Word("hormone_lot", "hormone-lot", TEXT, "the lot of the hormone"),
    Word("dip_s", "dip", DURATION, "how long the cuttings were in the hormone, such as 5 s"),
    Word("stuck_by", "stuck-by", TEXT, "who stuck the cuttings, where that is not who says so"),
)
