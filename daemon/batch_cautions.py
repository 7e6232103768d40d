"""What is said beside a batch when it is put on record: what is hardly meant, and what to be careful about."""

from wardian.daemon.batch_crops import crop_here
from wardian.daemon.config import Config
from wardian.rules.batches import Batch
from wardian.rules.crops import day_of


def warnings(config: Config, batch: Batch) -> list[str]:
    """Return what is hardly meant: an open batch other than its tray's configuration says."""
    tray = next((one for one in config.trays if one.name == batch.tray), None)
    if batch.closed or tray is None:
        return []
    found = []
    if tray.crop.name != batch.crop:
        found.append(
            f"tray {tray.name} is watched as {tray.crop.name}, not {batch.crop}; change its crop in the configuration"
        )
    days = day_of(tray.stuck, config.site.zone, batch.stuck_ms)
    if days:
        found.append(
            f"tray {tray.name} is watched as stuck on {tray.stuck}, {abs(days)} days {'before' if days > 0 else 'after'} this batch; change its stuck in the configuration"
        )
    return found


def cautions(config: Config, batch: Batch) -> list[str]:
    """Return what to be careful about: a rooting hormone on what will be eaten."""
    if batch.details.hormone in (None, "none"):
        return []
    crop = crop_here(config, batch.crop)
    if crop is None or not crop.is_eaten:
        return []
    return [
        f"{batch.crop} is grown to be eaten: some labels of rooting hormones forbid that; follow the label, or use none"
    ]
