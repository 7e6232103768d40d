"""The crops that a batch may be of: those of the configuration, and those of the library that no tray has now."""

from wardian.daemon.config import Config
from wardian.daemon.crop_library import crop_library, crop_named
from wardian.rules.amounts import NotAnAmount
from wardian.rules.crops import Crop
from wardian.rules.documents import nearest


def known_crop(config: Config, written: str) -> str:
    """Return a crop's name.

    Raises:
        NotAnAmount: There is none of that name.
    """
    if written not in config.crops:
        names = {*crop_library(config.library.parse).crops, *config.crops}
        if written not in names:
            raise NotAnAmount("is no crop here", nearest(written, names, listed=99))
    return written


def crop_here(config: Config, name: str) -> Crop | None:
    """Return a crop as the configuration has it, else as the library has; None where neither knows it any more."""
    if name in config.crops:
        return config.crops[name].crop
    return (
        crop_named(config.library.parse, name) if name in crop_library(config.library.parse).crops else None
    )
