"""A browser, and the accessibility checker that runs in it.

The browser is a Chromium of the machine: on Debian, package ``chromium``. The checker is axe-core
(MPL 2.0), fetched once with ``npm pack`` into a folder outside the project, or the file that the
variable SHUTOFFSIM_AXE names.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tarfile
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import platformdirs
import pytest

import shutoffsim
from shutoffsim.study.assessment.assess import assess
from shutoffsim.study.assessment.result import Assessment

AXE_VERSION = "4.14.1"
CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome")
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """A headless Chromium; skips where there is none."""
    sync_api = pytest.importorskip("playwright.sync_api", reason="needs the package playwright")
    found = next(filter(None, map(shutil.which, CHROMIUM_NAMES)), None)
    if found is None:
        pytest.skip("needs a Chromium browser: on Debian, apt-get install chromium")
    with sync_api.sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=found, args=list(FLAGS))
        yield started
        started.close()


@pytest.fixture(scope="session")
def axe() -> str:
    """The source text of the accessibility checker; skips where it cannot be had."""
    named = os.environ.get("SHUTOFFSIM_AXE")
    if named:
        return Path(named).read_text(encoding="utf-8")
    folder = platformdirs.user_cache_path("shutoffsim-tests") / f"axe-core-{AXE_VERSION}"
    script = folder / "axe.min.js"
    if not script.is_file():
        _fetch_axe(folder)
    if not script.is_file():
        pytest.skip("needs axe-core: npm pack axe-core, then SHUTOFFSIM_AXE=.../axe.min.js")
    return script.read_text(encoding="utf-8")


def _fetch_axe(folder: Path) -> None:
    if shutil.which("npm") is None:
        return
    folder.mkdir(parents=True, exist_ok=True)
    done = subprocess.run(
        ["npm", "pack", "--silent", f"axe-core@{AXE_VERSION}"],
        cwd=folder,
        capture_output=True,
        timeout=120,
    )
    packed = folder / f"axe-core-{AXE_VERSION}.tgz"
    if done.returncode == 0 and packed.is_file():
        with tarfile.open(packed) as archive:
            member = archive.extractfile("package/axe.min.js")
            assert member is not None
            (folder / "axe.min.js").write_bytes(member.read())


CLINIC = Path(__file__).resolve().parents[2] / "scenarios" / "clinic_above_shop.toml"
#: Names that would do harm if they were not escaped, or would spoil the layout. Each is one that a
#: scenario accepts: at most 80 letters.
HOSTILE = {
    "Clinic above a shop": "<script>document.title='x'</script> & \\\"quoted\\\" 'names'",
    "no automation": "</style></title></svg><script>alert(1)</script>",
    "quick release": "שלום עולם (123) مرحبا",
    "sensing cables": "Donaudampfschifffahrtsgesellschaft" + "x" * 46,
    "treatment hoses": "<img src=x onerror=alert(1)>",
    "pipe joints": "$\\\\frac{1}{2}$ {{ 7*7 }} {% raw %}",
}


@pytest.fixture(scope="session")
def assessed() -> Assessment:
    """A small assessment of the clinic: three designs."""
    scenario = shutoffsim.load(CLINIC)
    return assess(
        scenario,
        ["no automation", "quick release", "sensing cables"],
        histories=64,
        removal_histories=32,
        swing_histories=32,
        where="scenarios/clinic_above_shop.toml",
    )


@pytest.fixture(scope="session")
def hostile() -> Assessment:
    """The same with hostile names everywhere, and no cost."""
    text = CLINIC.read_text(encoding="utf-8")
    for old, new in HOSTILE.items():
        assert f'"{old}"' in text
        text = text.replace(f'"{old}"', f'"{new}"')
    scenario = shutoffsim.loads(text)
    names = [tomllib.loads(f'x = "{HOSTILE[name]}"')["x"] for name in
             ("no automation", "quick release", "sensing cables")]  # fmt: skip
    return assess(scenario, names, histories=32, removal_histories=32, swing_histories=0)
