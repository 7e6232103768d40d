"""A disk that is full or turned read-only under the real daemon: people hear of it and of what happens meanwhile."""

from collections.abc import Callable
from pathlib import Path

import pytest
from daemon_on_disk import DaemonOnDisk, daemon_on_disk

from wardian.daemon.exit_status import STORE_FAILED

WaitUntil = Callable[..., None]


def warm_up(rig: DaemonOnDisk, wait_until: WaitUntil) -> None:
    """Start, and let it see that all is well."""
    rig.start()
    rig.read(22.0)
    wait_until((rig.disk / "wardian.db").exists, "the database", 30)
    wait_until(lambda: rig.stored().get("values") == [22.0], "the first reading to be kept", 30)


def assert_all_is_there_once(rig: DaemonOnDisk, wait_until: WaitUntil) -> None:
    wait_until(lambda: ("store-failed", "returned") in rig.told(), "word that it is over", 30)
    wait_until(lambda: rig.stored().get("sent") == len(rig.told()), "all to be marked as delivered", 20)
    stored = rig.stored()
    assert stored["values"] == [22.0, 30.0]
    assert len(set(rig.keys())) == len(rig.keys()) == stored["sent"] == len(stored["events"])
    assert (stored["damage"], stored["waiting"]) == ("", 0)
    assert rig.stop() == 0
    assert "Traceback" not in rig.log


@pytest.mark.fault(22)
def test_on_a_full_disk_the_trouble_and_an_alarm_are_told_and_all_is_stored_once_afterwards(
    tmp_path: Path, wait_until: WaitUntil
) -> None:
    with daemon_on_disk(tmp_path) as rig:
        warm_up(rig, wait_until)

        def is_told() -> bool:
            rig.fill()
            return ("store-failed", "raised") in rig.told()

        # Something must want to be kept: a value goes on changing.
        rig.read(30.0)
        wait_until(is_told, "word that nothing can be kept", 30)
        wait_until(lambda: ("air-too-warm", "raised") in rig.told(), "the alarm", 20)
        (trouble,) = [one for one in rig.messages() if one["alarm"] == "store-failed"]
        assert "the disk is full" in trouble["message"]
        rig.make_room()
        assert_all_is_there_once(rig, wait_until)


@pytest.mark.fault(23)
def test_on_a_disk_that_is_read_only_people_hear_once_that_nobody_watches_however_often_it_is_started(
    tmp_path: Path, wait_until: WaitUntil
) -> None:
    with daemon_on_disk(tmp_path) as rig:
        warm_up(rig, wait_until)
        assert rig.stop() == 0
        rig.run("mount", "-o", "remount,ro", str(tmp_path / "disk"))
        (tmp_path / "run").mkdir()
        for _ in range(2):
            rig.start(RUNTIME_DIRECTORY=str(tmp_path / "run"))
            assert rig.wait() == STORE_FAILED
        # That so small a disk has little room is told, too.
        (message,) = [one for one in rig.messages() if one["alarm"] == "not-watching"]
        assert "Read-only file system" in message["message"]
        assert rig.stored()["values"] == [22.0]
        rig.run("mount", "-o", "remount,rw", str(tmp_path / "disk"))
        rig.start(RUNTIME_DIRECTORY=str(tmp_path / "run"))
        rig.read(30.0)
        wait_until(lambda: ("air-too-warm", "raised") in rig.told(), "the watching to go on", 30)
        assert rig.stop() == 0
        assert "Traceback" not in rig.log
