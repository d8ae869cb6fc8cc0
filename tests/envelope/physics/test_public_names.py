"""Every module says in `__all__` exactly what it makes public."""

import importlib
import inspect
import pkgutil

import pytest

import envelope.physics

MODULES = [
    info.name
    for info in pkgutil.walk_packages(envelope.physics.__path__, "envelope.physics.")
    if not info.ispkg
]


@pytest.mark.parametrize("name", MODULES)
def test_all_is_what_is_public(name):
    module = importlib.import_module(name)
    source = inspect.getsource(module)
    defined = {
        key
        for key, value in vars(module).items()
        if not key.startswith("_")
        and not inspect.ismodule(value)
        and (
            getattr(value, "__module__", None) == name
            or any(line.startswith((f"{key} =", f"{key}: Final")) for line in source.splitlines())
        )
    }
    assert set(module.__all__) == defined
    assert len(module.__all__) == len(set(module.__all__))
