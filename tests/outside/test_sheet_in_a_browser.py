"""The customer's page in headless Chromium: printed size, and axe-core's accessibility rules.

axe-core (deque, WCAG 2.x rules) is used by the tests only: `npm install --prefix .cache axe-core`.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from html import unescape
from pathlib import Path

import pytest

from recommend.show.sheet import Paper, Wording, messages, page
from tests.show.test_sheet import right_to_left, sheet

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
AXE = Path(__file__).parents[2] / ".cache" / "node_modules" / "axe-core" / "axe.min.js"

needs_browser = pytest.mark.skipif(BROWSER is None, reason="no headless Chromium is installed")
needs_axe = pytest.mark.skipif(
    not AXE.is_file(), reason="axe-core is not there: npm install --prefix .cache axe-core"
)

FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


def browse(tmp_path: Path, *args: str) -> str:
    """What Chromium prints."""
    command = [str(BROWSER), *FLAGS, f"--user-data-dir={tmp_path / 'profile'}", *args]
    done = subprocess.run(command, capture_output=True, timeout=120, check=True)
    return done.stdout.decode("utf-8", "replace")


@needs_browser
@needs_axe
@pytest.mark.parametrize(
    ("name", "language", "large"),
    [
        ("trials/three-much-alike", "en", False),
        ("trials/too-much", "de", True),
        ("visits/red-flag-stop", "de", False),
        ("visits/contradicting-feet", "en", False),
        ("trials/measures-well-hurts", "rtl", False),
    ],
)
def test_no_violation_of_accessibility(
    name: str, language: str, large: bool, tmp_path: Path
) -> None:
    """axe-core finds no violation, and did check a fair number of rules."""
    wording = right_to_left() if language == "rtl" else Wording(language, messages())
    text = page(sheet(name), wording, "Quillabeck", Paper(large=large))
    violations, passes = checked(text, tmp_path)
    assert violations == []
    assert passes > 10


@needs_browser
@needs_axe
def test_the_checker_finds_what_is_wrong(tmp_path: Path) -> None:
    """A picture without words and a page without language are found: the check can fail."""
    text = page(sheet("visits/pronated"), Wording("en", messages()))
    broken = text.replace(' lang="en"', "").replace("<main>", '<main><img src="data:,">')
    violations, _ = checked(broken, tmp_path)
    assert {"html-has-lang", "image-alt"} <= set(violations)


def checked(text: str, tmp_path: Path) -> tuple[list[str], int]:
    """Ids of the rules that axe-core finds violated, and how many rules passed."""
    script = (
        f"<script>{AXE.read_text(encoding='utf-8')}</script><script>"
        "axe.run(document).then(r => { document.body.innerHTML = '<pre id=axe></pre>'; "
        "document.getElementById('axe').textContent = "
        "JSON.stringify([r.violations.map(v => v.id), r.passes.length]); });</script>"
    )
    file = tmp_path / "page.html"
    file.write_text(text.replace("</body>", f"{script}</body>"), encoding="utf-8")
    dom = browse(tmp_path, "--virtual-time-budget=20000", "--dump-dom", file.as_uri())
    found = re.search(r'<pre id="axe">(.*?)</pre>', dom, re.DOTALL)
    assert found, "axe-core did not finish"
    violations, passes = json.loads(unescape(found.group(1)))
    return violations, passes


@needs_browser
@pytest.mark.parametrize("size", ["a4", "letter"])
@pytest.mark.parametrize(
    "name", ["trials/three-much-alike", "visits/pronated-high-arch-late-medial"]
)
def test_it_prints_on_both_sides_of_one_sheet(name: str, size: str, tmp_path: Path) -> None:
    """At the ordinary size the page is at most two sides of the paper that was asked for."""
    file, pdf = tmp_path / "page.html", tmp_path / "page.pdf"
    paper = Paper("letter" if size == "letter" else "a4")
    file.write_text(page(sheet(name), Wording("de", messages()), "Q", paper), encoding="utf-8")
    browse(tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={pdf}", file.as_uri())
    data = pdf.read_bytes()
    assert 1 <= len(re.findall(rb"/Type\s*/Page\b", data)) <= 2
    box = re.search(rb"/MediaBox\s*\[\s*0\s+0\s+([\d.]+)\s+([\d.]+)", data)
    assert box
    # Points: A4 is 210 x 297 mm (ISO 216), Letter 8.5 x 11 inches; 72 points to an inch.
    width, height = (612, 792) if size == "letter" else (210 / 25.4 * 72, 297 / 25.4 * 72)
    assert float(box.group(1)) == pytest.approx(width, abs=1.5)
    assert float(box.group(2)) == pytest.approx(height, abs=1.5)
