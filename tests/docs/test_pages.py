"""What the README and docs say is true: their commands run, their links exist."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PAGES = [ROOT / "README.md", ROOT / "CHANGELOG.md", *sorted((ROOT / "docs").glob("*.md"))]


@pytest.mark.slow
def test_the_readmes_commands_run_in_order(tmp_path: Path) -> None:
    lines = re.findall(r"^    \$ \.venv/bin/tackfree (.+)$", PAGES[0].read_text("utf-8"), re.M)
    assert len(lines) >= 5
    for line in lines:
        done = subprocess.run(
            [sys.executable, "-m", "tackfree", *shlex.split(line)],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, f"{line}\n{done.stderr}"
        assert done.stdout.strip() or "new" in line, line


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", page.read_text("utf-8")):
        if "://" not in target:
            assert (page.parent / target).exists(), f"{page.name} links to {target}"


def test_makefile_targets_of_the_readme_exist() -> None:
    makefile = (ROOT / "Makefile").read_text("utf-8")
    for target in set(re.findall(r"`?make ([a-z]+)", PAGES[0].read_text("utf-8"))):
        assert re.search(rf"^{target}:", makefile, re.M), target


def test_nothing_names_a_registry_or_this_machine() -> None:
    """The lock carries hashes and no address; no page carries a path of a machine."""
    assert "://" not in (ROOT / "requirements.lock").read_text("utf-8")
    for page in PAGES:
        assert not re.search(r"(?<![\w.])/(home|work|root|tmp)/", page.read_text("utf-8")), page
