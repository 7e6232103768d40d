from wardian.daemon.refusing_channels import RefusingChannels


class FakeTroubles:
    """Remembers what was begun and ended."""

    def __init__(self) -> None:
        self.said: list[str] = []

    def begin(self, name: str, words: str) -> None:
        assert name == "messages-refused"
        self.said.append(words)

    def end(self, name: str) -> None:
        self.said.append(f"end {name}")


def test_a_channel_that_refuses_is_named_with_the_reason_until_it_takes_something() -> None:
    troubles = FakeTroubles()
    refusals = RefusingChannels(troubles)  # type: ignore[arg-type]  # it needs no more of them
    refusals.answered("desk", "")
    refusals.answered("mail", "answered 410")
    refusals.answered("mail", "answered 410")
    refusals.answered("desk", "")
    refusals.answered("phone", "answered 401")
    refusals.answered("mail", "")
    refusals.answered("phone", "")
    refusals.answered("phone", "")
    tail = "refuses messages, which are not tried again there."
    assert troubles.said == [
        f"mail (answered 410) {tail}",
        f"mail (answered 410), phone (answered 401) {tail}",
        f"phone (answered 401) {tail}",
        "end messages-refused",
    ]
