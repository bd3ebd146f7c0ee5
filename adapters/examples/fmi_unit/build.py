"""Makes rill.fmu beside it: compiles unit.c with `cc` for this computer and packs it with its description."""

import platform
import subprocess
import sys
import zipfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
SUFFIX = ".dylib" if sys.platform == "darwin" else ".so"
MACHINE = {"x86_64": f"{sys.platform}64", "amd64": f"{sys.platform}64"}
FOLDER = MACHINE.get(platform.machine().lower(), f"{platform.machine().lower()}-{sys.platform}")

library = HERE / f"rill{SUFFIX}"
subprocess.run(
    ["cc", "-std=c99", "-O2", "-shared", "-fPIC", "-o", str(library), str(HERE / "unit.c"), "-lm"], check=True
)
with zipfile.ZipFile(HERE / "rill.fmu", "w", zipfile.ZIP_DEFLATED) as unit:
    unit.write(HERE / "modelDescription.xml", "modelDescription.xml")
    unit.write(library, f"binaries/{FOLDER}/rill{SUFFIX}")
