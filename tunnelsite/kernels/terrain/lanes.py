"""Eight numbers that move as one: explicit vectors for kernels whose sums slide along the row.

A compiler turns a loop into vector instructions only where no step waits for the one before. A sliding sum does. Cut
into eight runs that slide side by side it does not, but then the cells of one vector lie far apart, and numba has no
words for turning them. These are the words: a vector of eight float64, its sums and products, and `gathered` and
`spread`, which turn an 8 x 8 block. The compiler splits a vector where the processor has narrower ones.

Offsets are uint64 from the start of a C-contiguous array; nothing checks them, as nothing checks an index in numba.
"""

import operator

from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic, models, overload, register_model

LANES = 8
DOUBLES = ir.VectorType(ir.DoubleType(), LANES)
SINGLES = ir.VectorType(ir.FloatType(), LANES)
PLACES = ir.VectorType(ir.IntType(32), LANES)
INDEX = ir.IntType(64)
# A product and a sum may be rounded once instead of twice, as in the loops beside.
FLAGS = ("contract",)


class LanesType(types.Type):
    """The type of a vector of eight float64 inside a kernel."""

    def __init__(self) -> None:
        super().__init__(name="Lanes")


LANES_TYPE = LanesType()


@register_model(LanesType)
class LanesModel(models.PrimitiveModel):
    """How a vector lies in a register."""

    def __init__(self, manager, kind) -> None:
        super().__init__(manager, kind, DOUBLES)


def _place(context, builder, kind, array, offset):
    """Return the address of eight elements of an array and the bytes of one."""
    data = context.make_array(kind)(context, builder, array).data
    vector = ir.VectorType(context.get_value_type(kind.dtype), LANES)
    return builder.bitcast(builder.gep(data, [offset]), vector.as_pointer()), kind.dtype.bitwidth // 8


def _read(context, builder, kind, array, offset):
    pointer, size = _place(context, builder, kind, array, offset)
    return builder.load(pointer, align=size)


def _write(context, builder, kind, array, offset, value):
    pointer, size = _place(context, builder, kind, array, offset)
    builder.store(value, pointer, align=size)


@intrinsic
def lanes_of(typingctx, number):
    """Return eight times one number."""

    def code(context, builder, signature, arguments):
        first = builder.insert_element(ir.Constant(DOUBLES, ir.Undefined), arguments[0], ir.Constant(INDEX, 0))
        return builder.shuffle_vector(first, first, ir.Constant(PLACES, [0] * LANES))

    return LANES_TYPE(types.float64), code


@intrinsic
def load(typingctx, array, offset):
    """Return eight neighbours of a float32 or float64 array."""

    def code(context, builder, signature, arguments):
        value = _read(context, builder, signature.args[0], *arguments)
        return value if value.type == DOUBLES else builder.fpext(value, DOUBLES)

    return LANES_TYPE(array, types.uint64), code


@intrinsic
def store(typingctx, array, offset, value):
    """Write eight neighbours of a float32 or float64 array."""

    def code(context, builder, signature, arguments):
        target, offset, value = arguments
        single = signature.args[0].dtype == types.float32
        _write(
            context, builder, signature.args[0], target, offset, builder.fptrunc(value, SINGLES) if single else value
        )
        return context.get_dummy_value()

    return types.void(array, types.uint64, LANES_TYPE), code


@intrinsic
def expect(typingctx, array, offset):
    """Have the cache line of an element at hand, for writing to it soon."""

    def code(context, builder, signature, arguments):
        data = context.make_array(signature.args[0])(context, builder, arguments[0]).data
        place = builder.bitcast(builder.gep(data, [arguments[1]]), ir.IntType(8).as_pointer())
        kind = ir.FunctionType(ir.VoidType(), [place.type] + 3 * [ir.IntType(32)])
        fetch = builder.module.declare_intrinsic("llvm.prefetch", [place.type], kind)
        builder.call(fetch, [place] + [ir.Constant(ir.IntType(32), k) for k in (1, 3, 1)])  # to write, to keep, data
        return context.get_dummy_value()

    return types.void(array, types.uint64), code


@intrinsic
def single_root(typingctx, value):
    """Return the square root, in float32, of what is above zero, and zero of the rest."""

    def code(context, builder, signature, arguments):
        zero = ir.Constant(DOUBLES, [0.0] * LANES)
        above = builder.select(builder.fcmp_ordered(">", arguments[0], zero), arguments[0], zero)
        kind = ir.FunctionType(SINGLES, [SINGLES])
        root = cgutils.get_or_insert_function(builder.module, kind, f"llvm.sqrt.v{LANES}f32")
        return builder.fpext(builder.call(root, [builder.fptrunc(above, SINGLES)]), DOUBLES)

    return LANES_TYPE(LANES_TYPE), code


def _chosen(sign: str):
    """Return the intrinsic that takes of two vectors, number by number, the one that compares so, or else the second."""

    @intrinsic
    def chosen(typingctx, one, other):
        def code(context, builder, signature, arguments):
            return builder.select(builder.fcmp_ordered(sign, *arguments), *arguments)

        return LANES_TYPE(LANES_TYPE, LANES_TYPE), code

    return chosen


# The larger and the smaller of two, number by number; the second where either is NaN.
larger, smaller = _chosen(">"), _chosen("<")


@intrinsic
def known(typingctx, one, other):
    """Return the numbers of a vector that are finite, those of another where they are not."""

    def code(context, builder, signature, arguments):
        kind = ir.FunctionType(DOUBLES, [DOUBLES])
        size = builder.call(
            cgutils.get_or_insert_function(builder.module, kind, f"llvm.fabs.v{LANES}f64"), arguments[:1]
        )
        finite = builder.fcmp_ordered("<", size, ir.Constant(DOUBLES, [float("inf")] * LANES))
        return builder.select(finite, *arguments)

    return LANES_TYPE(LANES_TYPE, LANES_TYPE), code


def _arithmetic(symbol, instruction: str) -> None:
    """Let `symbol` work on two vectors."""

    @intrinsic
    def both(typingctx, one, other):
        def code(context, builder, signature, arguments):
            return getattr(builder, instruction)(*arguments, flags=FLAGS)

        return LANES_TYPE(LANES_TYPE, LANES_TYPE), code

    @overload(symbol)
    def chosen(one, other):
        if one is LANES_TYPE and other is LANES_TYPE:
            return lambda one, other: both(one, other)
        if one is LANES_TYPE and isinstance(other, types.Float):
            return lambda one, other: both(one, lanes_of(other))
        if isinstance(one, types.Float) and other is LANES_TYPE:
            return lambda one, other: both(lanes_of(one), other)


for _symbol, _instruction in ((operator.add, "fadd"), (operator.sub, "fsub"), (operator.mul, "fmul")):
    _arithmetic(_symbol, _instruction)


def _turned(builder, rows: list) -> list:
    """Return the columns of eight rows: halves, then pairs, then quadruples, each one instruction."""

    def mixed(one, other, *places):
        return builder.shuffle_vector(one, other, ir.Constant(PLACES, places))

    halves = [mixed(rows[k], rows[k + 4], 0, 1, 2, 3, 8, 9, 10, 11) for k in range(4)]
    halves += [mixed(rows[k], rows[k + 4], 4, 5, 6, 7, 12, 13, 14, 15) for k in range(4)]
    columns = []
    for a, b, c, d in (halves[:4], halves[4:]):
        low, low_too = (mixed(p, q, 0, 8, 1, 9, 4, 12, 5, 13) for p, q in ((a, b), (c, d)))
        high, high_too = (mixed(p, q, 2, 10, 3, 11, 6, 14, 7, 15) for p, q in ((a, b), (c, d)))
        for p, q in ((low, low_too), (high, high_too)):
            columns += [mixed(p, q, 0, 1, 8, 9, 4, 5, 12, 13), mixed(p, q, 2, 3, 10, 11, 6, 7, 14, 15)]
    return columns


def _offsets(builder, first, step):
    """Return eight offsets, `step` apart."""
    return [builder.add(first, builder.mul(step, ir.Constant(INDEX, k))) for k in range(LANES)]


@intrinsic
def gathered(typingctx, source, first, step, target, offset):
    """Write eight neighbours, from `first` on, of eight runs `step` apart as eight vectors of one cell of each run."""

    def code(context, builder, signature, arguments):
        kinds, (source, first, step, target, offset) = signature.args, arguments
        rows = [_read(context, builder, kinds[0], source, place) for place in _offsets(builder, first, step)]
        places = _offsets(builder, offset, ir.Constant(INDEX, LANES))
        for row, place in zip(_turned(builder, rows), places, strict=True):
            _write(context, builder, kinds[3], target, place, row)
        return context.get_dummy_value()

    return types.void(source, types.uint64, types.uint64, target, types.uint64), code


@intrinsic
def spread(typingctx, source, offset, target, first, step):
    """Undo `gathered`: write eight vectors as eight neighbours, from `first` on, of eight runs `step` apart."""

    def code(context, builder, signature, arguments):
        kinds, (source, offset, target, first, step) = signature.args, arguments
        places = _offsets(builder, offset, ir.Constant(INDEX, LANES))
        rows = [_read(context, builder, kinds[0], source, place) for place in places]
        for row, place in zip(_turned(builder, rows), _offsets(builder, first, step), strict=True):
            _write(context, builder, kinds[2], target, place, row)
        return context.get_dummy_value()

    return types.void(source, types.uint64, target, types.uint64, types.uint64), code
