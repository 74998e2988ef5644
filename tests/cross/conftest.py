"""Reads what the Rust side wrote to target/cross/, and makes a missing library loud: a failure where CI is true."""

import importlib
import json
import os
import pathlib

import pytest

FOLDER = pathlib.Path(__file__).resolve().parents[2] / "target" / "cross"


def written(name):
    """The values under target/cross/NAME.json; their absence is always a failure: `tests/cross/run` makes them."""
    return json.loads((FOLDER / f"{name}.json").read_text())


def library(name):
    """A reference library by its module name."""
    try:
        return importlib.import_module(name)
    except ImportError as cause:
        if os.environ.get("CI") == "true":
            pytest.fail(f"{name} cannot be imported: {cause}")
        pytest.skip(f"{name} cannot be imported: {cause}")
