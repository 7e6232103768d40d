"""The forms: what a person may do to alarms and say of a tray, with what was typed kept when it is refused."""

import secrets
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final, NamedTuple

from wardian.daemon.page.guard import TOKEN
from wardian.daemon.page.markup import Child, Html, element
from wardian.daemon.record_words import DONE
from wardian.rules import life
from wardian.rules.batches import SCORE_WORDS
from wardian.rules.care_given import EVENTS, LOOKED, LOOKS

#: The field by which a form that is sent twice is done once.
ONCE: Final = "once"
_FROM: Final = "from"
#: What a shelf lasts, and how it is said.
_SHELVES: Final = (
    ("1h", "1 hour"),
    ("4h", "4 hours"),
    ("12h", "12 hours"),
    ("24h", "1 day"),
    ("72h", "3 days"),
)
_AGO: Final = (
    ("", "just now"),
    ("15 min", "15 min ago"),
    ("30 min", "half an hour ago"),
    ("1h", "1 hour ago"),
    ("2h", "2 hours ago"),
    ("4h", "4 hours ago"),
    ("8h", "8 hours ago"),
)
#: Amounts of care, how each is asked for, and what a person may write.
_AMOUNTS: Final = (
    ("grams", "Water", "such as 20 g"),
    ("minutes", "Cover off for", "minutes"),
    ("ph", "pH of the water", "such as 5.8"),
    ("ec", "EC of the water", "mS/cm"),
    ("temperature", "Temperature of the water", "such as 20 °C"),
)
_BY_ALARM: Final = {
    life.UNACKNOWLEDGED: ("acknowledge", "shelve"),
    life.RETURNED_UNACKNOWLEDGED: ("acknowledge", "shelve"),
    life.ACKNOWLEDGED: ("shelve",),
    life.LATCHED_UNACKNOWLEDGED: ("acknowledge", "reset"),
    life.LATCHED_ACKNOWLEDGED: ("reset",),
    life.SHELVED: ("unshelve",),
    life.OUT_OF_SERVICE: ("restore",),
}
_BUTTONS: Final = {
    "acknowledge": "Acknowledge",
    "shelve": "Shelve",
    "unshelve": "Take off the shelf",
    "reset": "Reset",
    "restore": "Back into service",
}


class Typing(NamedTuple):
    """What goes into every form: its token, where it stands, who was here last, and what was typed and refused."""

    token: str
    place: str
    who: str = ""
    typed: Mapping[str, str] = {}


def _form(action: str, typing: Typing, *children: Child, class_: str = "") -> Html:
    own = {TOKEN: typing.token, ONCE: secrets.token_urlsafe(12), _FROM: typing.place}
    return element("form", hidden(own), *children, method="post", action=action, class_=class_ or None)


def hidden(values: Mapping[str, str]) -> list[Html]:
    """Return fields that nobody sees."""
    return [element("input", type="hidden", name=name, value=value) for name, value in values.items()]


def field(words: str, name: str, typing: Typing, hint: str = "", **more: Any) -> Html:
    """Return a text field with its label."""
    value = typing.typed.get(name, typing.who if name == "who" else "")
    hinted = element("span", hint, class_="hint") if hint else None
    return element(
        "label",
        element("span", words, " ", hinted),
        element("input", name=name, value=value, type="text", **more),
    )


def choice(words: str, name: str, typing: Typing, options: Iterable[tuple[str, str]]) -> Html:
    """Return a list to choose one from, with its label."""
    chosen = typing.typed.get(name)
    made = [element("option", told, value=value, selected=value == chosen) for value, told in options]
    return element("label", element("span", words), element("select", made, name=name))


def _who(typing: Typing) -> Html:
    return field("Your name", "who", typing, required=True, maxlength=60, autocomplete="name")


def alarm_forms(fields: Mapping[str, Any], typing: Typing) -> list[Child]:
    """Return what may be done to an alarm as it stands now: with one tap by whoever was here last, or with all that can be said."""
    acts = _BY_ALARM.get(fields["life"], ())
    if not acts:
        return []
    named = {"tray": fields["tray"], "alarm": fields["alarm"]}
    at_once = _at_once(acts[0], named, typing) if typing.who and acts[0] != "shelve" else None
    words = " or ".join(_BUTTONS[act].lower() for act in acts)
    return [
        at_once,
        element("details", element("summary", f"{words.capitalize()} …"), _alarm_form(acts, named, typing)),
    ]


def _at_once(act: str, named: Mapping[str, str], typing: Typing) -> Html:
    button = element("button", f"{_BUTTONS[act]} as {typing.who}", name="act", value=act)
    return _form("/alarm", typing, hidden({**named, "who": typing.who}), button)


def _alarm_form(acts: Sequence[str], named: Mapping[str, str], typing: Typing) -> Html:
    buttons = [
        element("button", _BUTTONS[act], name="act", value=act, class_="lesser" if act == "shelve" else None)
        for act in acts
    ]
    span = choice("Shelve for", "for", typing, _SHELVES) if "shelve" in acts else None
    why = field("Why", "why", typing, "told in the journal", maxlength=200)
    return _form(
        "/alarm",
        typing,
        hidden(named),
        _who(typing),
        why,
        span,
        element("div", buttons, class_="beside"),
        class_="sheet",
    )


def returned_form(tray: str, typing: Typing) -> Html:
    """Return where all that returned at a tray is acknowledged at once."""
    button = element("button", "Acknowledge all of this tray", name="act", value="acknowledge")
    return _form("/alarm", typing, hidden({"tray": tray}), _who(typing), button, class_="sheet")


def care_form(trays: Sequence[str], typing: Typing) -> Html:
    """Return where care is put on record, of the first of some trays unless another is chosen."""
    found = set(typing.typed.get("look", "").split(","))
    looks = [
        element(
            "label",
            element("input", type="checkbox", name="look", value=one, checked=one in found),
            one.replace("-", " "),
            class_="tick",
        )
        for one in LOOKS
    ]
    amounts = [field(words, name, typing, hint, maxlength=20) for name, words, hint in _AMOUNTS]
    return _form(
        "/care",
        typing,
        choice("Tray", "tray", typing, [*((name, name) for name in trays), ("all", "all trays")]),
        choice("What was done", "event", typing, [(event, DONE[event]) for event in EVENTS]),
        choice("When", "ago", typing, _AGO),
        element(
            "details",
            element("summary", "Amounts, and the water"),
            *amounts,
            open=any(typing.typed.get(name) for name, *_ in _AMOUNTS),
        ),
        element(
            "details",
            element("summary", "What a look found"),
            element("fieldset", element("legend", f"Only with: {DONE[LOOKED].lower()}"), looks),
            open="look" in typing.typed,
        ),
        _who(typing),
        field("Note", "why", typing, maxlength=200),
        element("button", "Put on record"),
        class_="sheet",
    )


def score_form(batch: str, typing: Typing) -> Html:
    """Return where a look at the roots of a batch is put on record."""
    counts = [
        field(
            f"{number}: {words}", f"score{number}", typing, inputmode="numeric", maxlength=6, pattern="[0-9]*"
        )
        for number, words in enumerate(SCORE_WORDS)
    ]
    return _form(
        "/score",
        typing,
        hidden({"batch": batch}),
        element("fieldset", element("legend", "How many cuttings had which roots"), counts, class_="scores"),
        _who(typing),
        field("Note", "why", typing, maxlength=200),
        element("button", "Put on record"),
        class_="sheet",
    )


def sign_in_form(token: str) -> Html:
    """Return where the password is asked for."""
    label = element(
        "label",
        element("span", "Password of this bench"),
        element(
            "input",
            type="password",
            name="password",
            required=True,
            autocomplete="current-password",
            maxlength=200,
        ),
    )
    return element(
        "form",
        hidden({TOKEN: token}),
        label,
        element("button", "Open"),
        method="post",
        action="/sign-in",
        class_="sheet",
    )
