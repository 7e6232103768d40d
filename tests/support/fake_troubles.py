"""Own troubles that only remember what was said of them."""


class FakeTroubles:
    """Remembers what stands."""

    def __init__(self) -> None:
        self.standing: dict[str, str] = {}
        self.past: list[tuple[str, str]] = []

    def begin(self, name: str, words: str) -> None:
        self.standing[name] = words

    def end(self, name: str) -> None:
        self.standing.pop(name, None)

    def happened(self, name: str, words: str) -> None:
        self.past.append((name, words))
