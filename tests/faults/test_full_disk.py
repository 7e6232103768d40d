"""A disk that is full or turns read-only under the database: what was kept stays, and it is said in time."""

import json
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final

import pytest
from card_bench import CardBench
from receivers import http_receiver
from small_disk import FILLER, PYTHON, beside, fill, on_small_disk, seen_by, why_none_can_be_had

from wardian.adapters.stores.sql import SqlStore

WaitUntil = Callable[..., None]
WHY_NOT: Final = why_none_can_be_had()
pytestmark = pytest.mark.skipif(bool(WHY_NOT), reason=WHY_NOT)

#: Keeps rounds until there is no room, twice as often again; then says what it was acknowledged and what it reads.
KEEPS_ON: Final = """
import json, sys
from pathlib import Path
from wardian.adapters.stores.sql import SqlStore
from wardian.rules.errors import StoreFull
from wardian.rules.ports import DueMessage, Message, Round
from wardian.rules.readings import Reading
store = SqlStore.open(Path(sys.argv[1]))
FIELDS = {"quantity": "ppfd", "limit": "low", "event": "raised", "alarm": "too-dark"}
reserves = [store.room().has_reserve]
kept = refused = 0
def keep(number):
    store.keep(Round(1, readings=[Reading(number * 2000 + n, f"tray-{n % 40}", "ppfd", float(n)) for n in range(1500)],
        journal=[(number, "tray-a", FIELDS)], due=[DueMessage("mail", Message(f"m{number}", "", "", {}))]))
def keep_on():
    global kept, refused
    while refused < 3:
        try:
            keep(kept)
            kept += 1
        except StoreFull as full:
            assert full.may_heal
            refused += 1
            reserves.append(store.room().has_reserve)
keep_on()
counts, damage = store.counts(), store.damage()
print(json.dumps([kept, counts, damage, reserves]), flush=True)
sys.stdin.readline()
refused = 0
keep(kept); kept += 1
reserves.append(store.room().has_reserve)
store.close()
again = SqlStore.open(Path(sys.argv[1]))
print(json.dumps([kept, again.counts(), again.damage(), reserves]), flush=True)
"""


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[CardBench]:
    with http_receiver() as receiver:
        bench = CardBench(tmp_path, receiver)
        yield bench
        bench.kill()


@pytest.mark.fault(22)
@pytest.mark.parametrize(
    "size_mb", [1, 13, *(pytest.param(size, marks=pytest.mark.long) for size in (2, 4, 6, 8))]
)
def test_what_was_acknowledged_before_a_disk_was_full_is_there_and_keeping_goes_on_with_room(
    tmp_path: Path, size_mb: int
) -> None:
    card = tmp_path / "card"
    command = [PYTHON, "-c", KEEPS_ON, str(card / "bench.db")]
    pipes: dict[str, Any] = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
    with on_small_disk(card, f"{size_mb}m", command, **pipes) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        kept, counts, damage, reserves = json.loads(process.stdout.readline())
        assert (counts["readings"], counts["journal"], counts["due"]) == (1500 * kept, kept, kept)
        assert kept > 0
        assert damage == ""
        # Where there was room for it, it was held and given up; what was refused had none to go on with.
        assert reserves == [size_mb > 8, False, False, False]
        assert beside(process, "mount", "-o", "remount,size=64m", str(card)).returncode == 0
        process.stdin.write("\n")
        process.stdin.flush()
        kept, counts, damage, reserves = json.loads(process.stdout.readline())
        assert (counts["readings"], counts["journal"], damage) == (1500 * kept, kept, "")
        assert reserves[-1] is True
    assert process.returncode == 0


@pytest.mark.fault(22)
@pytest.mark.journey
def test_a_full_disk_is_told_with_the_room_that_was_held_back(
    bench: CardBench, wait_until: WaitUntil
) -> None:
    bench.start("16m")
    card = seen_by(bench.running, bench.card)
    wait_until((card / "wardian.db-reserve").exists, "the reserve", 30)
    fill(card)
    wait_until(lambda: ("disk-full", "raised") in bench.told(), "a message that the disk is full", 30)
    assert not (card / "wardian.db-reserve").exists()
    assert "no room is held back any more" in bench.words_of("disk-full")[0]
    assert "disk-full" in bench.say("alarms", "--json").stdout
    assert "isk full" in bench.say("status").stdout
    (card / FILLER).unlink()
    wait_until(lambda: ("disk-full", "returned") in bench.told(), "a message that there is room again", 30)
    assert (card / "wardian.db-reserve").stat().st_blocks * 512 >= 4 << 20
    checked = bench.say("store", "check", "--json")
    assert (checked.returncode, json.loads(checked.stdout)["whole"]) == (0, True)
    assert [alarm for alarm, event in bench.told() if event == "raised" and alarm != "disk-low"] == [
        "disk-full"
    ]
    assert bench.stop() == 0


READ_ONLY: Final = """
set -e
truncate -s 32M image && mkfs.ext4 -q -F image && mkdir -p card
DEVICE=$(losetup --find --show image)
trap 'umount card; losetup --detach "$DEVICE"' EXIT
mount -o errors=remount-ro "$DEVICE" card
"$1" -c "$2" card/bench.db "$DEVICE"
"""
FAILS: Final = """
import json, os, sys
from pathlib import Path
from wardian.adapters.stores.sql import SqlStore
from wardian.rules.errors import StoreFailed
from wardian.rules.ports import Round
from wardian.rules.readings import Reading
store = SqlStore.open(Path(sys.argv[1]))
keep = lambda number: store.keep(Round(1, readings=[Reading(number * 100 + n, "tray-a", "ppfd", 1.0) for n in range(50)]))
keep(0)
Path(f"/sys/fs/ext4/{Path(sys.argv[2]).name}/trigger_fs_error").write_text("1")
said = []
for number in (1, 2):
    try:
        keep(number)
    except StoreFailed as failed:
        said.append([failed.may_heal, failed.why])
print(json.dumps([said, store.counts()["readings"], len(list(store.readings(0, 99)))]), flush=True)
os._exit(0)
"""


def why_no_device() -> str:
    found = subprocess.run(
        ["sh", "-c", "command -v mkfs.ext4 && losetup --find"], capture_output=True, check=False
    )
    return "" if found.returncode == 0 else "no loop device with a file system can be had here"


@pytest.mark.fault(23)
def test_a_card_that_turned_read_only_is_named_and_waited_for_while_all_can_be_read(tmp_path: Path) -> None:
    why_not = why_no_device()
    if why_not:
        pytest.skip(why_not)
    command = ["unshare", "-m", "sh", "-c", READ_ONLY, "sh", PYTHON, FAILS]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True, timeout=60)
    said, counted, read = json.loads(done.stdout.splitlines()[-1])
    assert [may_heal for may_heal, _ in said] == [True, True]
    assert all("the storage is read-only" in why for _, why in said)
    assert (counted, read) == (50, 50)


@pytest.mark.fault(23)
def test_a_mount_that_is_read_only_from_the_start_is_refused_in_words_and_can_be_looked_at(
    tmp_path: Path,
) -> None:
    path = tmp_path / "bench.db"
    SqlStore.open(path).close()
    script = 'mount --bind "$1" "$1" && mount -o remount,bind,ro "$1" && cd "$1" && "$2" -c "$3"'
    tries = (
        "from pathlib import Path\nfrom wardian.adapters.stores.sql import SqlStore\n"
        "from wardian.rules.errors import StoreFailed\npath = Path('bench.db')\n"
        "print(SqlStore.open(path, read_only=True).counts()['readings'])\n"
        "try: SqlStore.open(path)\nexcept StoreFailed as failed: print(failed)\n"
    )
    command = ["unshare", "-m", "sh", "-c", script, "sh", str(tmp_path), PYTHON, tries]
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout.startswith("0\n")
    assert "Read-only file system" in done.stdout
