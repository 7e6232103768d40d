"""What ``wardian service`` does: put the daemon in place as a service, take it away, show what that would be."""

import argparse
import json
import os
import shutil
import sys
from pathlib import Path

from wardian.daemon import service_files as files
from wardian.daemon import wiring
from wardian.daemon.config import Config
from wardian.daemon.exit_status import DONE
from wardian.daemon.service import Hands, install, refused, remove


def service(options: argparse.Namespace) -> int:
    """Do what is asked of the service, and say what was done and what stayed."""
    if options.act == "show":
        return _show(options)
    if os.geteuid() != 0 and not options.dry_run:
        raise refused(f"only root can {options.act} it; put sudo before the command, or add --dry-run")
    hands = Hands(Path(options.root).resolve(), options.dry_run)
    if not hands.root.is_dir():
        raise refused(f"--root {hands.root} is no folder")
    if options.act == "install":
        program = _program(options)
        _refuse_hidden(program)
        install(hands, program, _config_text(options, hands))
    else:
        remove(hands, with_data=options.with_data)
        hands.kept.append(f"the program itself, {_venv()}; delete it when nobody wants it")
    return _tell(options, hands)


def _show(options: argparse.Namespace) -> int:
    program = _program(options)
    shown = {str(files.UNIT): files.unit_text(program), str(files.COMMAND): files.command_text(program)}
    if options.json:
        print(json.dumps({"files": shown}, ensure_ascii=False))
        return DONE
    for name, text in shown.items():
        print(f"# ---- {name}\n{text}")
    return DONE


def _tell(options: argparse.Namespace, hands: Hands) -> int:
    if options.json:
        print(
            json.dumps({"dry_run": hands.is_dry, "done": hands.done, "kept": hands.kept}, ensure_ascii=False)
        )
        return DONE
    print("would be done:" if hands.is_dry else "done:")
    for line in hands.done or ["nothing"]:
        print(f"  {line}")
    for line in hands.kept:
        print(f"kept: {line}")
    if options.act == "install" and not hands.is_dry and hands.is_this_machine():
        print("it watches; look with: sudo -u wardian wardian status, and journalctl -u wardian")
    return DONE


def _program(options: argparse.Namespace) -> Path:
    """Return the program that the service is to run.

    Raises:
        AdapterError: The service could not run it.
    """
    program = Path(options.program) if options.program else Path(sys.prefix) / "bin" / "wardian"
    if options.program is None and not program.exists():
        found = shutil.which(sys.argv[0])
        program = Path(found).resolve() if found else program
    if not program.is_absolute() or set(str(program)) & set("'\"%$\\\n "):
        raise refused(
            f"the program {program} must have a plain path from the root, such as {files.USUAL_PROGRAM}"
        )
    return program


def _refuse_hidden(program: Path) -> None:
    """Refuse a program that the service cannot see, or whose own Python it cannot."""
    for needed in (program, (program.parent / "python").resolve()):
        hiding = [hidden for hidden in files.HIDDEN if needed.is_relative_to(hidden)]
        if hiding:
            raise refused(
                f"a service sees nothing below {hiding[0]}, where {needed} is; "
                "install the program below /opt, with the system's own Python"
            )


def _venv() -> Path:
    return Path(sys.prefix)


def _config_text(options: argparse.Namespace, hands: Hands) -> str | None:
    """Return the text of a new configuration, None where the one that is there stays.

    Raises:
        BadConfig: It cannot be used.
        AdapterError: There is none, or the service could not keep its database.
    """
    there = hands.at(files.CONFIG)
    if options.config is None and not there.exists():
        raise refused(f"there is no {files.CONFIG} yet; give one with --config FILE")
    source = there if options.config is None else Path(options.config)
    _refuse_unwritable(wiring.load_config(source), source)
    return None if options.config is None else source.read_text(encoding="utf-8")


def _refuse_unwritable(config: Config, source: Path) -> None:
    scheme, _, place = config.store_url.partition(":///")
    if scheme != "sqlite":
        return
    path = Path(os.path.normpath(place))
    if not path.is_relative_to(files.STATE):
        raise refused(
            f"{source}: store.url {config.store_url} is not below {files.STATE}, where alone the service may write; "
            f'write url: "sqlite:///{files.STATE}/wardian.db"'
        )
