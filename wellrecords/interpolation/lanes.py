"""Four numbers side by side in one register, for code compiled by numba.

A small linear system is too short to fill the wide registers of a processor:
its loops end before they have well begun. Four systems of one size, each in a
lane of its own, fill them always. `Lanes` is that type inside compiled code:
loaded from arrays whose last axis has `WIDTH` numbers, reckoned with, and
stored again. (The compiler would find this by itself, but numba leaves that
pass of LLVM switched off.) Compiled code that uses them is kept on disk by the
date of its own file: touch that too after a change here.
"""

from __future__ import annotations

import operator
from collections.abc import Callable
from typing import Any

from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic as numba_intrinsic
from numba.extending import models, overload, register_model

WIDTH = 4
DOUBLES = ir.VectorType(ir.DoubleType(), WIDTH)
INTEGERS = ir.VectorType(ir.IntType(64), WIDTH)
intrinsic: Any = numba_intrinsic  # numba's types know only its Python side
EXPONENT_BIAS, EXPONENT_AT = 1023, 52  # of a number of 64 bits (IEEE 754)


class Lanes(types.Type):
    """Numba's type of the four numbers."""

    def __init__(self) -> None:
        super().__init__(name="Lanes")


LANES = Lanes()


@register_model(Lanes)
class _LanesModel(models.PrimitiveModel):
    def __init__(self, manager: Any, kind: Any) -> None:
        super().__init__(manager, kind, DOUBLES)


def _spot(context: Any, builder: Any, signature: Any, args: Any) -> Any:
    """Address of array[*index, 0], the first two arguments being the array and the index."""
    array = context.make_array(signature.args[0])(context, builder, args[0])
    index = [*cgutils.unpack_tuple(builder, args[1], len(signature.args[1])), context.get_constant(types.intp, 0)]
    first = cgutils.get_item_pointer(context, builder, signature.args[0], array, index)
    return builder.bitcast(first, DOUBLES.as_pointer())


@intrinsic
def load(typing: Any, array: Any, index: Any) -> Any:
    """Read array[*index, :]."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        found = builder.load(_spot(context, builder, signature, args))
        found.align = 8
        return found

    return LANES(array, index), code


@intrinsic
def store(typing: Any, array: Any, index: Any, lanes: Any) -> Any:
    """Write array[*index, :]."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        builder.store(args[2], _spot(context, builder, signature, args)).align = 8
        return context.get_dummy_value()

    return types.void(array, index, lanes), code


@intrinsic
def spread(typing: Any, number: Any) -> Any:
    """Return the same number in each lane."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        lanes = ir.Constant(DOUBLES, ir.Undefined)
        for lane in range(WIDTH):
            lanes = builder.insert_element(lanes, args[0], ir.IntType(32)(lane))
        return lanes

    return LANES(types.float64), code


def _root(builder: Any, x: Any) -> Any:
    kind = ir.FunctionType(DOUBLES, [DOUBLES])
    return builder.call(cgutils.get_or_insert_function(builder.module, kind, f"llvm.sqrt.v{WIDTH}f64"), [x])


def _power_of_two(builder: Any, x: Any) -> Any:
    whole = builder.bitcast(x, INTEGERS)
    biased = builder.add(whole, ir.Constant(INTEGERS, [EXPONENT_BIAS] * WIDTH))
    return builder.bitcast(builder.shl(biased, ir.Constant(INTEGERS, [EXPONENT_AT] * WIDTH)), DOUBLES)


def _one(build: Callable[..., Any]) -> Any:
    @intrinsic
    def function(typing: Any, x: Any) -> Any:
        return LANES(LANES), lambda context, builder, signature, args: build(builder, *args)

    return function


def _two(build: Callable[..., Any]) -> Any:
    @intrinsic
    def function(typing: Any, x: Any, y: Any) -> Any:
        return LANES(LANES, LANES), lambda context, builder, signature, args: build(builder, *args)

    return function


root = _one(_root)
power_of_two = _one(_power_of_two)  # 2^n, from n + 1.5 * 2^52, whose last bits are n
largest = _two(lambda builder, x, y: builder.select(builder.fcmp_ordered(">", x, y), x, y))
smallest = _two(lambda builder, x, y: builder.select(builder.fcmp_ordered("<", x, y), x, y))


def _let_operate(symbol: Callable[..., Any], instruction: str) -> None:
    """Give lanes an operator, with other lanes or with one number for all."""
    operate = _two(lambda builder, x, y: getattr(builder, instruction)(x, y, flags=["contract"]))

    @overload(symbol)
    def choose(x, y):  # type: ignore[no-untyped-def]
        if x == LANES and y == LANES:
            return lambda x, y: operate(x, y)
        if x == LANES and y == types.float64:
            return lambda x, y: operate(x, spread(y))
        if x == types.float64 and y == LANES:
            return lambda x, y: operate(spread(x), y)
        return None


_let_operate(operator.add, "fadd")
_let_operate(operator.sub, "fsub")
_let_operate(operator.mul, "fmul")
_let_operate(operator.truediv, "fdiv")
