"""Starts mitsuba 3 once, on the newest LLVM library found; import `mi` from here."""

from __future__ import annotations

import os
import re
from pathlib import Path

import mitsuba as mi

__all__ = ["mi"]

OLDEST_LLVM = 16  # 15 aborts on current kernels


def _newest_llvm() -> str:
    """Find the newest libLLVM; RuntimeError if none is new enough."""
    found = {}
    for path in Path("/usr/lib").glob("**/libLLVM*.so*"):
        version = re.search(r"(\d\d)(?:\.\d+)*$", path.name.replace(".so", ""))
        if version:
            found[int(version[1])] = str(path)
    if not found or max(found) < OLDEST_LLVM:
        raise RuntimeError(
            f"the renderer needs libLLVM {OLDEST_LLVM} or newer (Debian: "
            "libllvm19); or name one in DRJIT_LIBLLVM_PATH"
        )
    return found[max(found)]


if "DRJIT_LIBLLVM_PATH" not in os.environ:
    os.environ["DRJIT_LIBLLVM_PATH"] = _newest_llvm()
mi.set_variant("llvm_ad_rgb")
mi.set_log_level(mi.LogLevel.Error)
