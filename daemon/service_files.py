"""What a service of ours is made of: its names, its places, and the files that are put there."""

from pathlib import Path
from typing import Final

NAME: Final = "wardian"
UNIT: Final = Path("/etc/systemd/system/wardian.service")
SETTINGS: Final = Path("/etc/wardian")
CONFIG: Final = SETTINGS / "config.yaml"
STATE: Final = Path("/var/lib/wardian")
COMMAND: Final = Path("/usr/local/bin/wardian")
#: What the unit in the package runs; an installation has its own program in this place.
USUAL_PROGRAM: Final = "/opt/wardian/bin/wardian"
#: The service sees nothing of what lies there (ProtectHome and PrivateTmp of the unit).
HIDDEN: Final = ("/home", "/root", "/run/user", "/tmp", "/var/tmp")  # noqa: S108  # to refuse them
#: Where the unit lies in the package.
TEMPLATE: Final = Path(__file__).with_name("wardian.service")

_COMMAND: Final = """\
#!/bin/sh
# Made by `wardian service install`: the program, with the configuration of the service.
export WARDIAN_CONFIG="${{WARDIAN_CONFIG:-{config}}}"
exec '{program}' "$@"
"""


def unit_text(program: Path) -> str:
    """Return the unit that runs a program."""
    return TEMPLATE.read_text(encoding="utf-8").replace(USUAL_PROGRAM, str(program))


def command_text(program: Path) -> str:
    """Return the command for people, which knows where the service has its configuration."""
    return _COMMAND.format(config=CONFIG, program=program)


def is_our_command(text: str) -> bool:
    """Return whether a command was made by us."""
    return "Made by `wardian service install`" in text
