"""The page in a browser: on a wide screen, on a narrow one, and printed."""

import json
import os
import re
import shutil
import subprocess
from html import unescape
from pathlib import Path

import numpy as np
import pytest
from matplotlib import image

BROWSER = next((name for name in ("chromium", "chromium-browser", "google-chrome") if shutil.which(name)), "")

pytestmark = [
    pytest.mark.screen,
    pytest.mark.skipif(not BROWSER, reason="no browser is installed"),
]

QUIETLY = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
)


@pytest.fixture
def browse(tmp_path, html):
    page = tmp_path / "page.html"
    page.write_text(html, encoding="utf-8")

    def call(*options):
        profile = tmp_path / "profile"
        command = [BROWSER, *QUIETLY, f"--user-data-dir={profile}", *options, page.as_uri()]
        return subprocess.run(command, capture_output=True, text=True, check=True, timeout=120).stdout

    return call


@pytest.mark.parametrize("width", [1200, 500], ids=["wide", "narrow"])
def test_the_page_shows_ink_and_leaves_its_margins_white(browse, tmp_path, width):
    shot = tmp_path / "page.png"
    browse(f"--window-size={width},3000", f"--screenshot={shot}")
    pixels = image.imread(shot)[..., :3]
    assert pixels.shape[:2] == (3000, width)
    dark = (pixels < 0.6).all(axis=2)
    assert 0.005 < dark.mean() < 0.2
    assert (pixels[:, -8:] > 0.99).all(), "something reaches into the right margin"
    coloured = (np.ptp(pixels, axis=2) > 0.2).mean()
    assert coloured > 0.0005, "the accent ink is missing"


def test_nothing_sticks_out_of_a_narrow_screen(browse, tmp_path, html):
    measured = (
        "<script>addEventListener('load', () => { document.title = "
        "`${document.documentElement.scrollWidth} of ${document.documentElement.clientWidth}` })"
        "</script></body>"
    )
    (tmp_path / "page.html").write_text(html.replace("</body>", measured), encoding="utf-8")
    page = browse("--window-size=500,900", "--dump-dom")
    wide, room = page.split("<title>")[1].split("</title>")[0].split(" of ")
    assert int(wide) <= int(room)


def test_the_page_prints_on_numbered_sheets(browse, tmp_path):
    sheet = tmp_path / "page.pdf"
    browse("--no-pdf-header-footer", f"--print-to-pdf={sheet}")
    assert sheet.read_bytes().startswith(b"%PDF")
    if not shutil.which("pdftotext"):
        pytest.skip("no pdftotext to read the sheets")
    read = subprocess.run(["pdftotext", "-layout", sheet, "-"], capture_output=True, text=True, check=True)
    sheets = read.stdout.split("\f")[:-1]
    assert len(sheets) > 4
    for number, text in enumerate(sheets, start=1):
        assert re.search(rf"{number}\s*/\s*{len(sheets)}\b", text)
        assert "For use inside the programme only" in text
        assert len(text.split()) > 40


RUN_AXE = """<script>%s</script><script>addEventListener('load', async () => {
  const rules = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']
  const found = await axe.run(document, {runOnly: rules})
  const where = one => one.nodes.slice(0, 3).map(node => node.target.join(' ')).join(' | ')
  const told = found.violations.map(one => one.id + ': ' + where(one))
  const dark = matchMedia('(prefers-color-scheme: dark)').matches
  document.title = JSON.stringify({passes: found.passes.length, dark, told})
})</script></body>"""


@pytest.mark.skipif(not os.environ.get("AXE_CORE"), reason="AXE_CORE does not name axe-core's axe.min.js")
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1200, 500])
@pytest.mark.parametrize("document", ["", "-appendix", "-follow-up"])
def test_axe_finds_nothing(browse, tmp_path, pages, document, width, scheme):
    checker = Path(os.environ["AXE_CORE"]).read_text(encoding="utf-8")
    content = pages[document].replace("</body>", RUN_AXE % checker)
    (tmp_path / "page.html").write_text(content, encoding="utf-8")
    preferred = f"--blink-settings=preferredColorScheme={int(scheme == 'light')}"
    page = browse(preferred, f"--window-size={width},900", "--virtual-time-budget=60000", "--dump-dom")
    found = json.loads(unescape(page.split("<title>")[1].split("</title>")[0]))
    assert found["dark"] == (scheme == "dark")
    assert found["passes"] > 20
    assert found["told"] == []
