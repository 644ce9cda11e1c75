"""Builds counting.c while the package is installed (a hook of hatchling's, named in pyproject.toml; no part of the program).

Where there is no compiler, or it fails, the package is installed without: the vectorised code serves, and a line says so.
"""

from __future__ import annotations

import sysconfig
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface
from setuptools import Distribution, Extension
from setuptools.errors import BaseError, CCompilerError

MODULE = "benchcheck.compiled.counting"
SOURCE = "benchcheck/compiled/counting.c"


class CompiledLoops(BuildHookInterface):  # type: ignore[misc]
    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        if self.target_name != "wheel":
            return
        try:
            built = self._build(Path(self.root) if version == "editable" else Path(tempfile.mkdtemp()))
        except (BaseError, CCompilerError, OSError) as trouble:
            self.app.display_warning(
                f"installed without compiled loops, which makes surveys three times slower: {trouble}"
            )
            return
        build_data["pure_python"] = False
        build_data["tag"] = f"cp311-abi3-{sysconfig.get_platform().replace('-', '_').replace('.', '_')}"
        if version != "editable":
            build_data["force_include"][str(built)] = f"benchcheck/compiled/{built.name}"

    def _build(self, folder: Path) -> Path:
        """Compile into `folder`, which stands for the top of the sources. Raises errors of setuptools, or OSError."""
        extension = Extension(MODULE, [str(Path(self.root, SOURCE))], py_limited_api=True)
        command = Distribution({"ext_modules": [extension]}).get_command_obj("build_ext")
        command.build_lib = str(folder)
        with tempfile.TemporaryDirectory() as objects:
            command.build_temp = objects
            command.ensure_finalized()
            command.run()
        return Path(command.get_ext_fullpath(MODULE))
