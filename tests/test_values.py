"""Class laws: every dataclass that flows is frozen, slotted, hashable and prints readably.

The classes are found by importing every module of the package, so a new one is held to the laws at once. What
does not flow may change: private classes, and a reader's drafts, which never leave it; even these have slots.
"""

from __future__ import annotations

import dataclasses
import importlib
import pkgutil
import typing
from collections.abc import Iterator
from fractions import Fraction
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import pytest

import harpkeys
from harpkeys.errors import HarpkeysError
from harpkeys.report.vet import Wishes


def value_classes() -> Iterator[type]:
    """Every dataclass that is defined in the package, by qualified name."""
    for info in sorted(pkgutil.walk_packages(harpkeys.__path__, "harpkeys."), key=lambda info: info.name):
        if info.name.endswith("__main__"):
            continue
        module = importlib.import_module(info.name)
        for found in vars(module).values():
            if isinstance(found, type) and found.__module__ == info.name and dataclasses.is_dataclass(found):
                yield found


VALUES = sorted(set(value_classes()), key=lambda found: f"{found.__module__}.{found.__qualname__}")
FLOWING = [
    value
    for value in VALUES
    if not value.__name__.startswith("_") and not value.__module__.endswith("_draft")
]
by_class = pytest.mark.parametrize("value", VALUES, ids=lambda found: found.__qualname__)
by_flowing_class = pytest.mark.parametrize("value", FLOWING, ids=lambda found: found.__qualname__)


def sample(hint: Any) -> Any:
    """A smallest value of an annotated type."""
    origin, arguments = get_origin(hint), get_args(hint)
    if origin is Literal:
        return arguments[0]
    if origin in (Union, UnionType):
        return None if NoneType in arguments else sample(arguments[0])
    if hint is Any or origin is not None:
        return sample_of_container(origin, arguments) if origin is not None else None
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        return instance(hint)
    plain = {int: 1, str: "x", bool: False, float: 1.0, bytes: b"", Fraction: Fraction(1), NoneType: None}
    return plain.get(hint)


def sample_of_container(origin: Any, arguments: tuple[Any, ...]) -> Any:
    if origin is tuple:
        if len(arguments) == 2 and arguments[1] is Ellipsis:
            return (sample(arguments[0]),)
        return tuple(sample(argument) for argument in arguments)
    return frozenset() if origin in (frozenset, typing.AbstractSet) else None


def instance(value: type) -> Any:
    """An instance with a sample for every required field, and the defaults for the rest."""
    hints = get_type_hints(value, localns={"Wishes": Wishes})
    required = [
        field
        for field in dataclasses.fields(value)
        if field.init
        and field.default is dataclasses.MISSING
        and field.default_factory is dataclasses.MISSING
    ]
    return value(**{field.name: sample(hints[field.name]) for field in required})


def test_values_were_found() -> None:
    assert {"Pitch", "Note", "Pluck", "Plan", "Harp", "Report"} <= {value.__name__ for value in FLOWING}


@by_flowing_class
def test_is_frozen(value: type) -> None:
    made = instance(value)
    for field in dataclasses.fields(value):
        with pytest.raises(dataclasses.FrozenInstanceError):
            setattr(made, field.name, None)


@by_class
def test_is_slotted(value: type) -> None:
    assert not hasattr(instance(value), "__dict__")


@by_flowing_class
def test_is_hashable_and_equal_to_its_like(value: type) -> None:
    one = instance(value)
    other = dataclasses.replace(one)
    # A node of a search may say eq=False: it is then only ever the same as itself.
    compares = value.__dataclass_params__.eq  # type: ignore[attr-defined]
    assert (one == other) is compares
    assert (hash(one) == hash(other)) is compares


@by_class
def test_prints_readably(value: type) -> None:
    text = repr(instance(value))
    assert text.startswith(value.__qualname__ + "(")
    assert " object at 0x" not in text


@by_class
def test_is_told_what_it_means(value: type) -> None:
    # A dataclass without a docstring gets one made of its signature.
    assert value.__doc__
    assert not value.__doc__.startswith(value.__name__ + "(")


def test_errors_print_as_their_sentence() -> None:
    error = HarpkeysError("the harp has no strings", "give at least one")
    assert str(error) == "the harp has no strings; give at least one."
