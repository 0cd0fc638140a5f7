"""Scripts loaded as modules: those that make the sample, the truth behind its files, and others."""

import importlib.util
import sys
from functools import cache
from pathlib import Path
from types import ModuleType

ROOT = Path(__file__).resolve().parents[1]
SAMPLE = ROOT / "sample_layers"
sys.path.append(str(ROOT))  # its scripts import each other


@cache
def load(name: str, folder: Path = SAMPLE) -> ModuleType:
    """Load ``lake``, ``survey``, ``fish`` or ``make``, or a script of another folder."""
    spec = importlib.util.spec_from_file_location(f"{folder.name}.{name}", folder / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module
