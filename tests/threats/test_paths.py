"""No address of the page leads to a file, however it is written."""

import http.client
from collections.abc import Iterator
from urllib.parse import quote

import pytest
from page_rig import PASSWORD, PageRig, served

pytestmark = pytest.mark.threat(7)

TARGETS = ["config.yaml", "wardian.db", "etc/passwd", "proc/self/environ", "page.py"]
WAYS = ["../", "..\\", "....//", "/../", "..;/", "%00../", "./././../"]


def addresses() -> Iterator[str]:
    """Yield each way up to each target, as it is, encoded once and encoded twice."""
    for target in TARGETS:
        for way in WAYS:
            for before in ("/", "/tray/1/"):
                plain = way * 6 + target
                yield from (
                    before + plain,
                    before + quote(plain, safe=""),
                    before + quote(quote(plain, safe=""), safe=""),
                )


@pytest.fixture(scope="module")
def rig(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PageRig]:
    with served(tmp_path_factory.mktemp("bench")) as rig:
        yield rig


def test_no_way_of_writing_an_address_leads_to_a_file(rig: PageRig) -> None:
    asked = list(addresses())
    found = []
    for address in asked:
        try:
            got = rig.get(address)
        except http.client.InvalidURL:
            continue
        if got.status < 400 or "timezone" in got.text or "root:" in got.text or PASSWORD in got.text:
            found.append((address, got.status))
    assert found == []
    assert len(asked) >= 200
