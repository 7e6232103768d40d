from wardian.rules.documents import nearest


def test_a_name_that_would_break_the_line_is_no_hint() -> None:
    assert nearest("tray-a", ["t\u2028ay-a"]) == ""
    assert nearest("tray-a", ["t\u2028ay-a", "tray-b"]) == "did you mean tray-b?"
