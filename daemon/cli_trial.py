"""What ``wardian alarms --test`` does: send one real message through every channel and say what was taken."""

import argparse
import json
from contextlib import ExitStack
from pathlib import Path

from wardian.daemon.exit_status import DOES_NOT_HOLD, DONE


def trial(options: argparse.Namespace) -> int:
    """Send a test message; the exit status says whether every channel took it."""
    from wardian.daemon import wiring
    from wardian.daemon.opening import open_notifiers
    from wardian.daemon.tongue import Tongue
    from wardian.daemon.trial import send_to_all, trial_message

    config = wiring.load_config(Path(options.config))
    message = trial_message(config.site.name, Tongue.of(config.site), wiring.machine_clock().wall_ms())
    with ExitStack() as opened:
        outcomes = send_to_all(open_notifiers(config, opened), message)
    if options.json:
        channels = [
            {"channel": one.channel, "taken": one.is_taken, "why": one.why or None} for one in outcomes
        ]
        print(json.dumps({"key": message.key, "channels": channels}, ensure_ascii=False))
    else:
        for one in outcomes:
            print(f"{one.channel}: {'taken' if one.is_taken else f'NOT TAKEN: {one.why}'}")
        if not outcomes:
            print("there is no channel: name one under `notifiers`")
    return DONE if outcomes and all(one.is_taken for one in outcomes) else DOES_NOT_HOLD
