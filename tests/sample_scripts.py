"""The scripts that make the sample, loaded as modules: the truth behind its files."""

import importlib.util
import sys
from functools import cache
from pathlib import Path
from types import ModuleType

FOLDER = Path(__file__).resolve().parents[1] / "sample_layers"


@cache
def load(name: str) -> ModuleType:
    """Load ``lake``, ``survey``, ``fish`` or ``make``."""
    spec = importlib.util.spec_from_file_location(f"sample_{name}", FOLDER / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module
