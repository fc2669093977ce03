"""Opens reports in headless Chromium at phone, desk and print width, and says what is cut, overlaps or complains.

    python benchmarks/report_in_browser.py result/report.html [more.html …]

For each page: text beyond the width of the window, text outside its picture, labels of a picture that overlap, messages
on the console, and the number of printed pages. Exit status 1 if anything is wrong; 0, saying so, without a browser.
"""

import argparse
import html
import json
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

WIDTHS = (390, 1280)
MOST_PAGES = 8
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
QUIET = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync", "--enable-logging=stderr",
)  # fmt: skip
MEASURE = """
const seen = [], page = document.getElementById('page');
page.onload = () => {
  const doc = page.contentDocument, width = page.clientWidth;
  if (doc.documentElement.scrollWidth > width) seen.push('page is ' + doc.documentElement.scrollWidth + ' px wide');
  for (const e of doc.querySelectorAll('h1,h2,h3,p,li,td,th,caption,figcaption,dt,dd,pre,svg.plot')) {
    const box = e.getBoundingClientRect(), words = e.textContent.trim().slice(0, 40);
    if (e.closest('svg') && e.tagName !== 'svg') continue;
    if (e.className === 'skip' || box.width === 0) continue;
    if (box.right > width + 0.5 || box.left < -0.5) seen.push('beyond the window: ' + words);
    if (e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 0) seen.push('wider than its box: ' + words);
  }
  for (const plot of doc.querySelectorAll('svg.plot')) {
    const name = plot.querySelector('title').textContent, frame = plot.getBoundingClientRect();
    const labels = [...plot.querySelectorAll('text')].map(t => [t.textContent, t.getBoundingClientRect()]);
    for (const [words, a] of labels)
      if (a.left < frame.left - 1 || a.right > frame.right + 1 || a.top < frame.top - 1 || a.bottom > frame.bottom + 1)
        seen.push(name + ': outside the picture: ' + words);
    for (let i = 0; i < labels.length; i++) for (let j = i + 1; j < labels.length; j++) {
      const [a, b] = [labels[i][1], labels[j][1]];
      const across = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      const down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      if (across > 1 && down > 0.3 * Math.min(a.height, b.height))
        seen.push(name + ': labels overlap: ' + labels[i][0] + ' / ' + labels[j][0]);
    }
    const size = Math.min(...[...plot.querySelectorAll('text')].map(t => parseFloat(getComputedStyle(t).fontSize)))
      * frame.width / plot.viewBox.baseVal.width;
    if (size < 6.5) seen.push(name + ': smallest label is ' + size.toFixed(1) + ' px');
  }
  document.getElementById('seen').textContent = JSON.stringify(seen);
};
"""


def browser() -> str | None:
    return next(filter(None, map(shutil.which, BROWSERS)), None)


def run(program: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    with tempfile.TemporaryDirectory() as profile:
        return subprocess.run(
            [program, *QUIET, f"--user-data-dir={profile}", *arguments], capture_output=True, text=True, timeout=120
        )


def complaints(stderr: str) -> list[str]:
    return [line.partition("CONSOLE")[2] for line in stderr.splitlines() if "CONSOLE" in line]


def check(program: str, path: Path) -> list[str]:
    """What is wrong with one page, in words."""
    text, wrong = path.read_text(encoding="utf-8"), []
    with tempfile.TemporaryDirectory() as folder:
        for width in WIDTHS:
            frame = Path(folder, f"{width}.html")
            frame.write_text(
                f'<!doctype html><meta charset="utf-8"><pre id="seen"></pre><iframe id="page" style="width:{width}px;'
                f'height:3000px;border:0" srcdoc="{html.escape(text)}"></iframe><script>{MEASURE}</script>',
                encoding="utf-8",
            )
            done = run(program, "--window-size=1400,3100", "--virtual-time-budget=20000", "--dump-dom", frame.as_uri())
            seen = re.search(r'<pre id="seen">(.*?)</pre>', done.stdout, flags=re.S)
            if seen is None or not seen[1]:
                return [f"the browser did not measure the page: {done.stderr[-300:]}"]
            wrong += [f"{width} px: {words}" for words in json.loads(html.unescape(seen[1]))]
            wrong += [f"{width} px: console: {words}" for words in complaints(done.stderr)]
        printed = Path(folder, "page.pdf")
        done = run(program, "--no-pdf-header-footer", f"--print-to-pdf={printed}", path.resolve().as_uri())
        wrong += [f"print: console: {words}" for words in complaints(done.stderr)]
        pages = len(re.findall(rb"/Type\s*/Page\b", printed.read_bytes()))
        print(f"{path}: {len(text.encode()) / 1000:.0f} kB, {pages} printed pages")
        if pages > MOST_PAGES:
            wrong.append(f"print: {pages} pages, at most {MOST_PAGES} wanted")
    return wrong


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("paths", metavar="page.html", nargs="+")
    paths, program = parser.parse_args().paths, browser()
    if program is None:
        print(f"skipped: no browser here (looked for {', '.join(BROWSERS)})")
        return 0
    found = {path: check(program, Path(path)) for path in paths}
    for path, wrong in found.items():
        for words in wrong:
            print(f"{path}: {words}")
    return int(any(found.values()))


if __name__ == "__main__":
    sys.exit(main())
