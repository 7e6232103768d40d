"""The page over plain HTTP: what it shows of a bench, and what it does and refuses."""

from collections.abc import Iterator
from pathlib import Path
from typing import Final

import pytest
from page_rig import MINUTE_MS, PASSWORD, Outline, PageRig, hostile_words, round_of, served

from wardian.daemon.cli import main
from wardian.daemon.page.app import MOST_ADDRESS_BYTES, MOST_BODY_BYTES
from wardian.rules.ports import Round

PAGES: Final = ("/", "/tray/1", "/tray/2", "/batches", "/journal", "/figures")
MOST_PAGE_BYTES: Final = 200_000


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PageRig]:
    """Yield a page that nobody changes anything by."""
    with served(tmp_path_factory.mktemp("shown")) as rig:
        yield rig


@pytest.fixture
def rig(tmp_path: Path) -> Iterator[PageRig]:
    with served(tmp_path) as rig:
        yield rig


# --------------------------------------------------------------------------------------- what is shown


def test_the_bench_shows_every_tray_with_crop_day_and_stage(shown: PageRig) -> None:
    words = " ".join(Outline(shown.get("/").text).words)
    for told in ("Evening propagation class", "tray-a", "tray-b", "coleus, day 3, callusing"):
        assert told in words


def test_a_value_stands_beside_its_band_in_the_units_of_the_site(shown: PageRig) -> None:
    words = " ".join(Outline(shown.get("/").text).words)
    assert "81.5" in words  # 27.5 °C
    assert "too high; wanted 68.0 to 78.8 °F" in words


def test_an_alarm_is_told_with_cause_and_action(shown: PageRig) -> None:
    text = shown.get("/").text
    words = " ".join(Outline(text).words)
    assert "1 alarm, not acknowledged" in words
    assert "Likely (the traces cannot tell which): sun on the cover" in words
    assert "To do within 4 h: shade the tray" in words
    assert "Acknowledge" in words


def test_what_is_unknown_is_never_within(shown: PageRig) -> None:
    text = shown.get("/tray/2").text
    words = " ".join(Outline(text).words)
    assert "never read" in words
    assert "All within" not in words
    assert 'class="mark within"' not in text


@pytest.mark.parametrize("path", PAGES)
def test_every_page_is_small_and_has_its_landmarks(shown: PageRig, path: str) -> None:
    got = shown.get(path)
    tags = [tag for tag, _ in Outline(got.text).elements]
    assert got.status == 200
    assert len(got.text) < MOST_PAGE_BYTES
    assert {"header", "nav", "main", "h1"} <= set(tags)
    assert tags.count("h1") == 1


@pytest.mark.parametrize("path", [*PAGES, "/page.css", "/page.js", "/icon.svg", "/nothing"])
def test_every_answer_keeps_the_browser_from_harm(shown: PageRig, path: str) -> None:
    headers = shown.get(path).headers
    policy = headers["content-security-policy"]
    assert policy.startswith("default-src 'none'; ")
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert "server" not in headers
    assert "access-control-allow-origin" not in headers


@pytest.mark.parametrize("path", PAGES)
def test_nothing_of_a_page_is_from_elsewhere_or_written_into_it(shown: PageRig, path: str) -> None:
    text = shown.get(path).text
    outline = Outline(text)
    assert "//" not in text.replace("<!doctype html>", "")
    assert not [
        name for _, names in outline.elements for name in names if name.startswith("on") or name == "style"
    ]
    assert [tag for tag, _ in outline.elements].count("script") == 1


@pytest.mark.parametrize(
    "path",
    [
        "/../config.yaml",
        "/..%2fconfig.yaml",
        "/%2e%2e/config.yaml",
        "/%252e%252e%252fconfig.yaml",
        "/page.css/../../config.yaml",
        "/page.css%00.yaml",
        "//etc/passwd",
        "/tray/0",
        "/tray/01",
        "/tray/3",
        "/tray/-1",
        "/tray/1/",
        "/tray/999999999",
        "/tray/9999999999999999999999",
        "/tray/tray-a",
        "/tray/3/day.svg",
        "/tray/1/year.svg",
        "/tray/1/../2/day.svg",
        "/tray/1%00",
        "/tray/%F0%9F%8C%B1",
        "/tray/%ff",
        "/batch/1",
        "/batch/1/explanation",
        "/wardian.db",
        "/care",
        "/PAGE.CSS",
    ],
)
def test_there_is_nothing_at_any_other_address(shown: PageRig, path: str) -> None:
    assert shown.get(path).status == 404


def test_a_foreign_name_gets_nothing(shown: PageRig) -> None:
    got = shown.get("/", Host="evil.example")
    assert got.status == 421
    assert "tray-a" not in got.text


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "PATCH", "TRACE"])
def test_other_methods_are_refused(shown: PageRig, method: str) -> None:
    assert shown.ask(method, "/").status == 405


def test_head_has_the_headers_and_no_body(shown: PageRig) -> None:
    got = shown.ask("HEAD", "/")
    assert got.status == 200
    assert got.text == ""
    assert int(got.headers["content-length"]) > 1000


def test_an_address_that_is_too_long_is_refused(shown: PageRig) -> None:
    assert shown.get("/?" + "x" * MOST_ADDRESS_BYTES).status == 414


@pytest.mark.parametrize("path", ["/page.css", "/page.js", "/tray/1/day.svg"])
@pytest.mark.parametrize("method", ["GET", "HEAD"])
def test_pictures_and_style_are_sent_compressed_to_whoever_takes_that(
    shown: PageRig, path: str, method: str
) -> None:
    as_it_is = int(shown.ask(method, path).headers["content-length"])
    got = shown.ask(method, path, headers={"Accept-Encoding": "br, GZIP"})
    assert (got.headers["content-encoding"], got.headers["vary"]) == ("gzip", "accept-encoding")
    assert int(got.headers["content-length"]) < as_it_is / 2
    assert "content-encoding" not in shown.ask(method, path, headers={"Accept-Encoding": "gzip;q=0"}).headers


@pytest.mark.parametrize("path", PAGES)
def test_a_page_with_a_token_in_it_is_never_compressed(shown: PageRig, path: str) -> None:
    assert "content-encoding" not in shown.ask("GET", path, headers={"Accept-Encoding": "gzip"}).headers


@pytest.mark.parametrize("path", ["/tray/1/day.svg", "/tray/2/batch-narrow.svg"])
def test_a_tray_is_drawn_with_nothing_from_elsewhere(shown: PageRig, path: str) -> None:
    got = shown.get(path)
    assert (got.status, got.headers["content-type"]) == (200, "image/svg+xml")
    assert "<svg" in got.text
    assert "<script" not in got.text
    assert got.headers["content-security-policy"].startswith("default-src 'none'; ")


# ------------------------------------------------------------------------------------------ what is done


def test_an_alarm_is_acknowledged_with_the_next_round(rig: PageRig) -> None:
    got = rig.post(
        "/alarm", rig.form(act="acknowledge", tray="tray-a", alarm="air-too-warm", why="vent opened")
    )
    assert got.status == 303
    assert "asked to be acknowledged" in rig.get(got.headers["location"]).text
    round_of(rig)
    last = rig.journal()[-1].fields
    assert (last["event"], last["who"], last["why"]) == ("acknowledged", "Evening teacher", "vent opened")


def test_an_alarm_is_shelved_for_as_long_as_is_said(rig: PageRig) -> None:
    fields = rig.form(act="shelve", tray="tray-a", alarm="air-too-warm", why="airing")
    assert rig.post("/alarm", {**fields, "for": "4h"}).status == 303
    round_of(rig)
    last = rig.journal()[-1]
    assert last.fields["event"] == "shelved"
    assert abs(last.fields["until_ms"] - last.time_ms - 240 * MINUTE_MS) < MINUTE_MS


def test_care_is_put_on_record_of_every_tray_that_is_meant(rig: PageRig) -> None:
    assert rig.post("/care", rig.form(tray="all", event="misted", grams="20 g", ago="30 min")).status == 303
    records = rig.records()
    assert [(one.tray, one.fields["event"], one.fields["grams"]) for one in records] == [
        ("tray-a", "misted", 20.0),
        ("tray-b", "misted", 20.0),
    ]
    assert records[0].recorded_ms - records[0].time_ms == 30 * MINUTE_MS


def test_roots_are_scored(rig: PageRig) -> None:
    new = ["batch", "new", "c-1", "--tray", "tray-a", "--stuck-count", "20"]
    assert main([*new, "--config", str(rig.folder / "config.yaml")]) == 0
    assert rig.post("/score", rig.form(batch="c-1", score1="3", score3="6", score0="")).status == 303
    assert rig.records()[-1].fields["counts"] == [0, 3, 0, 6, 0, 0]
    assert "6 of 9 with roots" in rig.get("/batch/1").text
    explained = rig.get("/batch/1/explanation").text
    assert "Batch c-1 explained" in explained
    assert "It cannot be explained now" not in explained


def test_a_form_that_comes_twice_is_done_once(rig: PageRig) -> None:
    form = rig.form(tray="tray-a", event="misted")
    assert [rig.post("/care", form).status for _ in range(3)] == [303, 303, 303]
    assert len(rig.records()) == 1


@pytest.mark.parametrize(
    ("path", "fields", "why"),
    [
        ("/care", {"tray": "tray-z", "event": "misted"}, "there is no tray"),
        ("/care", {"tray": "tray-a,tray-z", "event": "misted"}, "there is no tray"),
        ("/care", {"tray": "tray-a", "event": "sung to"}, "is nothing that is done at a tray"),
        ("/care", {"tray": "tray-a", "event": "misted", "ph": "99"}, "cannot be meant"),
        ("/care", {"tray": "tray-a", "event": "looked"}, "look is missing"),
        ("/care", {"tray": "tray-a", "event": "wiped", "grams": "20"}, "takes no grams"),
        ("/care", {"tray": "tray-a", "event": "misted", "ago": "3 d"}, "a time of the last 24 h"),
        ("/care", {"tray": "tray-a", "event": "misted", "ago": "soon"}, "when"),
        ("/care", {"tray": "tray-a", "event": "misted", "who": " \u200b"}, "say who you are"),
        ("/care", {"tray": "tray-a", "event": "misted", "why": "x" * 201}, "at most 200 are accepted"),
        ("/score", {"batch": "c-9", "score3": "1"}, "there is no batch"),
        ("/score", {"batch": "c-9"}, "no cutting was counted"),
        ("/alarm", {"act": "water", "tray": "tray-a"}, "is nothing that is done to an alarm"),
        ("/alarm", {"act": "acknowledge", "tray": "tray-b"}, "can be acknowledged now"),
        ("/alarm", {"act": "shelve", "tray": "tray-a", "alarm": "air-too-warm", "for": "ever"}, "for"),
        ("/alarm", {"act": "shelve", "tray": "tray-a", "alarm": "air-too-warm", "for": "60 d"}, "Not done"),
    ],
)
def test_what_cannot_be_meant_is_told_and_nothing_is_recorded(
    shown: PageRig, path: str, fields: dict[str, str], why: str
) -> None:
    got = shown.post(path, shown.form(**fields))
    assert got.status == 422
    assert why in "".join(Outline(got.text).words)
    assert shown.records() == []
    assert shown.store(lambda store: store.acts()) == {}


def test_what_was_typed_is_kept_when_it_is_refused(shown: PageRig) -> None:
    got = shown.post("/care", shown.form(tray="tray-b", event="misted", ph="99", why="from the can"))
    assert 'value="from the can"' in got.text
    assert 'value="99"' in got.text
    assert '<option value="tray-b" selected>' in got.text


@pytest.mark.threat(5)
def test_a_form_of_another_site_changes_nothing(shown: PageRig) -> None:
    form = shown.form(tray="tray-a", event="misted")
    foreign = {"Origin": "http://evil.example", "Sec-Fetch-Site": "cross-site"}
    assert shown.post("/care", form, **foreign).status == 403
    assert shown.post("/care", {**form, "token": "guessed"}).status == 403
    assert shown.post("/care", form, Origin="null").status == 403
    assert shown.records() == []


def test_a_body_that_is_too_long_or_no_form_is_refused(shown: PageRig) -> None:
    form = shown.form(tray="tray-a", event="misted")
    assert shown.post("/care", {**form, "why": "x" * MOST_BODY_BYTES}).status == 413
    assert shown.post("/care", form, **{"Content-Type": "application/json"}).status == 415
    assert shown.post("/care", {**form, **{f"x{number}": "1" for number in range(60)}}).status == 400
    assert shown.records() == []


def test_the_browser_is_sent_nowhere_else(rig: PageRig) -> None:
    form = rig.form(tray="tray-a", event="misted")
    got = rig.post("/care", {**form, "from": "//evil.example/"})
    assert got.headers["location"].startswith("/?did=")


# ---------------------------------------------------------------------------------------- password


def test_a_bench_with_a_password_shows_nothing_without_it(tmp_path: Path) -> None:
    (tmp_path / "page-password").write_text(f"{PASSWORD}\n", encoding="utf-8")
    (tmp_path / "page-password").chmod(0o600)
    with served(tmp_path, ", password_file: page-password") as rig:
        for path in PAGES:
            got = rig.get(path)
            assert got.status == 401
            assert "tray-a" not in got.text
        token = rig.get("/").text.partition('name="token" value="')[2].partition('"')[0]
        assert (
            rig.post("/care", {"token": token, "tray": "tray-a", "event": "misted", "who": "x"}).status == 303
        )
        assert rig.records() == []
        assert rig.post("/sign-in", {"token": token, "password": "wrong"}).status == 403
        got = rig.post("/sign-in", {"token": token, "password": PASSWORD})
        cookie = got.headers["set-cookie"]
        assert "HttpOnly" in cookie
        assert "SameSite=Strict" in cookie
        inside = rig.get("/", Cookie=cookie.partition(";")[0])
        assert "tray-a" in inside.text
        assert PASSWORD not in inside.text + got.text


# --------------------------------------------------------------------------------- hostile words


@pytest.mark.threat(6)
def test_200_hostile_words_stay_words_in_journal_and_forms(rig: PageRig) -> None:
    words = hostile_words()
    assert len(set(words)) == 200
    now_ms = rig.journal()[-1].time_ms
    same = dict(rig.journal()[-1].fields)
    assert rig.watch is not None

    def outline(texts: list[str]) -> tuple[list[tuple[str, tuple[str, ...]]], str]:
        entries = [
            (now_ms + 1, text, {**same, "tray": text, "message": text, "who": text, "event": text})
            for text in texts
        ]
        assert rig.watch is not None
        rig.watch.loop._store.keep(Round(now_ms + 1, journal=entries))
        found = Outline(rig.get("/journal").text)
        return found.elements, "".join(found.words)

    harmless, _ = outline(["word"] * 200)
    hostile, shown = outline(words)
    assert hostile == harmless
    assert all(word in shown for word in words)


@pytest.mark.parametrize("word", hostile_words()[::9])
def test_hostile_words_that_are_refused_stay_words(shown: PageRig, word: str) -> None:
    fields = {"tray": "tray-a", "event": "misted", "ph": "99"}
    plain = Outline(shown.post("/care", shown.form(**fields, why="word")).text).elements
    typed = {**shown.form(**fields, why=word), "who": word[:60], "ph": word[:20], "ec": word[:20]}
    assert Outline(shown.post("/care", {**typed, "grams": ""}).text).elements == plain


def test_what_is_wrong_with_the_watch_itself_stands_before_the_trays_and_is_acknowledged(
    rig: PageRig,
) -> None:
    assert rig.watch is not None
    assert rig.watch.troubles is not None
    rig.watch.troubles.begin("store-failed", "the disk is full.")
    round_of(rig)
    text = rig.get("/").text
    assert text.index("Store failed: the disk is full.") < text.index("tray-1-name")
    got = rig.post("/alarm", rig.form(act="acknowledge", tray="wardian", alarm="store-failed"))
    assert got.status == 303
    round_of(rig)
    assert "acknowledged" in {entry.fields["event"] for entry in rig.journal() if entry.tray == "wardian"}
