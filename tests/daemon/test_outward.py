"""The whole daemon with all that it does outwards: asked over a real broker, beating, summing a day up."""

import json
import subprocess
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

import pytest
from receivers import HttpReceiver, http_receiver

from wardian.adapters.stores.opening import open_store
from wardian.daemon import wiring
from wardian.daemon.bench_watch import Watch
from wardian.daemon.cli import main
from wardian.daemon.daily_summary import DailySummary
from wardian.daemon.wishes import Wishes
from wardian.rules.errors import AdapterError
from wardian.rules.ports import Round
from wardian.rules.readings import Reading

MINUTE_MS: Final = 60_000
CONFIG: Final = """\
site: {{name: Evening propagation class, timezone: UTC, units: US}}
store: {{url: "sqlite:///wardian.db"}}
trays:
  - {{name: tray-a, crop: coleus, stuck: {stuck}}}
crops:
  coleus:
    stages:
      - name: callusing
        from_day: 0
        bands:
          air_temperature: {{low: 20, high: 26, deadband: 0.5, on_delay: 10 min, off_delay: 0 s}}
notifiers: [{{name: terminal, kind: console}}]
"""
COMMANDS: Final = """\
commands:
  broker: {{host: {host}, port: {port}, user: {user}, password_file: "{password_file}"}}
  topic: class/asked
"""

Capture = pytest.CaptureFixture[str]
WaitUntil = Callable[..., None]


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the folder of a bench whose tray has been too warm for the last half an hour."""
    now_ms = wiring.machine_clock().wall_ms()
    stuck = datetime.fromtimestamp(now_ms / 1000, UTC) - timedelta(days=3)
    (tmp_path / "config.yaml").write_text(CONFIG.format(stuck=stuck.date()), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    store = open_store("sqlite:///wardian.db", Path())
    times_ms = range(now_ms - 30 * MINUTE_MS, now_ms, MINUTE_MS)
    store.keep(Round(now_ms, readings=[Reading(at, "tray-a", "air_temperature", 27.5) for at in times_ms]))
    store.close()
    return tmp_path


def configured(bench: Path, more: str) -> None:
    with (bench / "config.yaml").open("a", encoding="utf-8") as config:
        config.write(more)


def asked_over(broker: Any) -> str:
    return COMMANDS.format(
        host=broker.address, port=broker.port, user=broker.user, password_file=broker.password_file
    )


def opened_watch(opened: ExitStack) -> Watch:
    watch = wiring.open_watch(wiring.load_config(Path("config.yaml")), opened)
    watch.loop.quiet_s = 0.0
    return watch


def journal() -> list[dict[str, Any]]:
    with ExitStack() as opened:
        store = wiring.open_store(wiring.load_config(Path("config.yaml")), opened, read_only=True)
        return [dict(entry.fields) for entry in store.journal()]


class Asker:
    """Somebody at the broker who asks and hears answers."""

    def __init__(self, broker: Any) -> None:
        self.broker = broker
        self.place = ["-h", broker.address, "-p", str(broker.port), *broker.options]
        # The session is there before anything is asked, so that no answer is missed.
        subprocess.run(self._listen("-E"), check=True, timeout=20)

    def _listen(self, *more: str) -> list[str]:
        return [
            "mosquitto_sub",
            *self.place,
            "-t",
            "class/asked/answers",
            "-q",
            "1",
            "-i",
            "asker",
            "-c",
            *more,
        ]

    def ask(self, **asks: str) -> None:
        self.broker.publish("class/asked", json.dumps(asks))

    def answer(self) -> dict[str, Any]:
        told = subprocess.run(
            self._listen("-C", "1", "-W", "20"), check=True, timeout=30, capture_output=True
        )
        answer: dict[str, Any] = json.loads(told.stdout)
        return answer


@pytest.mark.needs_broker
def test_an_alarm_is_acknowledged_from_afar_and_the_asker_hears_of_it(
    bench: Path, broker_with_passwords: Any, wait_until: WaitUntil
) -> None:
    configured(bench, asked_over(broker_with_passwords))
    asker = Asker(broker_with_passwords)
    with ExitStack() as opened:
        watch = opened_watch(opened)
        watch.loop.round()
        (wishes,) = (one for one in watch.loop.beside if isinstance(one, Wishes))
        wait_until(lambda: wishes._wire.health().works, "a subscription")
        asker.ask(do="acknowledge", tray="tray-a", alarm="air-too-warm", who="the teacher", id="17")

        def is_done() -> bool:
            watch.loop.round()
            return str(journal()[-1]["event"]) == "acknowledged"

        wait_until(is_done, "the act")
        answer = asker.answer()
        assert (answer["id"], answer["done"], answer["alarms"]) == ("17", True, ["air-too-warm"])
        assert journal()[-1]["who"] == "the teacher (by MQTT)"
        asker.ask(do="acknowledge", tray="tray-a", alarm="air-too-warm", who="the teacher")
        wait_until(lambda: watch.loop.round() or len(wishes._taken_s) == 2, "the second one")
        assert not asker.answer()["done"]
        watch.loop.close()
    assert [entry["event"] for entry in journal()] == ["raised", "acknowledged"]


@pytest.mark.needs_broker
def test_a_button_at_the_bench_puts_care_on_record_and_is_answered(
    bench: Path, broker_with_passwords: Any, wait_until: WaitUntil
) -> None:
    """The same bytes each time, as a button sends them; a press that the broker kept for whoever comes is refused."""
    configured(bench, asked_over(broker_with_passwords))
    press = '{"do": "misted", "tray": "all", "who": "bench", "grams": 20, "ph": 5.8}'
    asker = Asker(broker_with_passwords)
    broker_with_passwords.publish("class/asked", press, retain=True)
    with ExitStack() as opened:
        watch = opened_watch(opened)
        (wishes,) = (one for one in watch.loop.beside if isinstance(one, Wishes))
        wait_until(lambda: watch.loop.round() or len(wishes._taken_s) == 1, "the retained press")
        assert "retained" in asker.answer()["why"]
        broker_with_passwords.publish("class/asked", press)

        def is_told() -> bool:
            watch.loop.round()
            return str(journal()[-1]["event"]) == "misted"

        wait_until(is_told, "the entry of the journal")
        answer = asker.answer()
        assert (answer["done"], answer["trays"]) == (True, ["tray-a"])
        watch.loop.close()
    entry = journal()[-1]
    assert (entry["who"], entry["message"].partition(" Mon")[0][:33]) == (
        "bench (by MQTT)",
        "Misted with water of 20 g, pH 5.8",
    )
    with ExitStack() as opened:
        store = wiring.open_store(wiring.load_config(Path("config.yaml")), opened, read_only=True)
        assert [one.value for one in store.readings(0, 2**60) if one.quantity == "water_ph"] == [5.8]


@pytest.mark.needs_broker
def test_a_broker_that_is_away_is_in_the_status_and_holds_nothing_up(
    bench: Path, broker_with_passwords: Any, capsys: Capture
) -> None:
    configured(bench, asked_over(broker_with_passwords))
    broker_with_passwords.kill()
    with ExitStack() as opened:
        watch = opened_watch(opened)
        watch.loop.round()
        assert main(["status"]) == 0
        assert "commands: no connection to broker" in capsys.readouterr().out
        watch.loop.close()


@pytest.mark.parametrize(
    ("wants", "channels"),
    [("summary: true", ["terminal"]), ("hears: high", ["terminal"]), ("summary: false", None)],
)
def test_people_get_the_summary_unless_they_say_otherwise(
    bench: Path, wants: str, channels: list[str] | None
) -> None:
    configured(bench, f"people: [{{name: evening class, channels: [terminal], {wants}}}]\n")
    with ExitStack() as opened:
        beside = [one for one in opened_watch(opened).loop.beside if isinstance(one, DailySummary)]
        assert [list(one._plan.channels) for one in beside] == ([channels] if channels else [])


def test_a_person_and_the_section_that_name_one_channel_get_one_summary(bench: Path) -> None:
    configured(
        bench, "people: [{name: evening class, channels: [terminal]}]\nsummary: {channels: [terminal]}\n"
    )
    with ExitStack() as opened:
        (daily,) = (one for one in opened_watch(opened).loop.beside if isinstance(one, DailySummary))
        assert list(daily._plan.channels) == ["terminal"]


def test_a_password_that_others_may_read_stops_the_start(bench: Path) -> None:
    secret = bench / "password"
    secret.write_text("moss", encoding="utf-8")
    secret.chmod(0o644)
    configured(bench, "commands: {broker: {host: 127.0.0.1, user: bench, password_file: password}}\n")
    with ExitStack() as opened, pytest.raises(AdapterError, match="chmod 600"):
        opened_watch(opened)


@pytest.fixture
def receiver() -> Iterator[HttpReceiver]:
    with http_receiver() as running:
        yield running


def test_a_watch_beats_once_it_knows_what_is_judged(
    bench: Path, receiver: HttpReceiver, wait_until: WaitUntil
) -> None:
    configured(bench, f"beat: {{url: '{receiver.address}/beat'}}\n")
    with ExitStack() as opened:
        watch = opened_watch(opened)
        watch.loop.quiet_s = 3_600.0
        watch.loop.round()
        assert not watch.loop.is_up_to_date
        watch.loop.quiet_s = 0.0
        assert receiver.requests == []
        watch.loop.round()
        wait_until(lambda: receiver.requests, "a beat")
        watch.loop.round()
        watch.loop.close()
    assert [json.loads(request.body)["event"] for request in receiver.requests] == ["beat"]


def test_a_summary_waits_for_its_time_and_leaves_through_the_channels_it_names(
    bench: Path, wait_until: WaitUntil, capsys: Capture
) -> None:
    """The time has come on this date, and what was told last is a day old."""
    now = datetime.fromtimestamp(wiring.machine_clock().wall_ms() / 1000, UTC)
    configured(bench, f"summary: {{at: {now:%H:%M}, channels: [terminal]}}\n")
    yesterday_ms = round((now - timedelta(days=1)).timestamp() * 1000)
    note = {"day": str((now - timedelta(days=1)).date()), "to_ms": yesterday_ms}
    store = open_store("sqlite:///wardian.db", Path())
    store.keep(Round(yesterday_ms, notes={"summary": note}))
    store.close()
    with ExitStack() as opened:
        watch = opened_watch(opened)

        def is_told() -> bool:
            watch.loop.round()
            return "summary, " in capsys.readouterr().err

        wait_until(is_told, "a summary")
        watch.loop.close()
        assert watch.loop._store.notes()["summary"]["day"] == str(now.date())


# --------------------------------------------------------------------------------- by command


def test_the_last_day_is_summed_up_by_command(bench: Path, capsys: Capture) -> None:
    with ExitStack() as opened:
        opened_watch(opened).loop.round()
    assert main(["summary"]) == 0
    out = capsys.readouterr().out.splitlines()
    assert out[0].startswith("Evening propagation class: ")
    assert out[1] == "Stands, and nobody has acknowledged it:"
    assert out[2].startswith("  tray-a: air too warm, priority ")
    assert any(line.startswith("  air under the cover: within 0 %") for line in out)
    assert main(["summary", "--json"]) == 0
    fields = json.loads(capsys.readouterr().out)
    assert [tray["name"] for tray in fields["trays"]] == ["tray-a"]
    assert fields["standing"][0]["alarm"] == "air-too-warm"
    assert fields["watched_s"] is None


def test_care_that_somebody_recorded_is_in_the_summary(bench: Path, capsys: Capture) -> None:
    with ExitStack() as opened:
        loop = opened_watch(opened).loop
        for event in ("misted", "misted", "lifted"):
            assert main(["care", "done", "tray-a", event]) == 0
        loop.round()
    capsys.readouterr()
    assert main(["summary"]) == 0
    assert "Misted twice, aired once." in capsys.readouterr().out


def test_a_bench_that_nobody_watched_has_no_readings(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "config.yaml").write_text(CONFIG.format(stuck="2026-03-02"), encoding="utf-8")
    assert main(["summary"]) == 0
    assert "tray-a: NO READINGS in all this time." in capsys.readouterr().out
    assert not (tmp_path / "wardian.db").exists()
