"""How kernels are compiled: alike, so that what they have in common is compiled once."""

# Kernels are called from Python and from each other, never as C functions. Division by zero gives inf, NaN, or 0 for whole numbers.
PLAIN = {"cache": True, "nogil": True, "error_model": "numpy", "no_cfunc_wrapper": True}
# Fused multiply-add is the only licence given: a vectorised sweep and its remainder use it alike, and NaN keeps its sense.
FAST = {**PLAIN, "fastmath": {"contract"}}
# Called from other kernels alone: without a wrapper for Python, and not kept, as whatever calls it holds its code.
INNER = {**PLAIN, "cache": False, "no_cpython_wrapper": True}
FAST_INNER = {**FAST, "cache": False, "no_cpython_wrapper": True}
# For those that neither make an array nor return one: no references are counted, of which each is a locked addition.
BARE = {**FAST_INNER, "_nrt": False}
# The same where arrays that are written share no memory with others, see `compiled.njit`; not for one that reads bytes as words.
APART = {**BARE, "apart": True}
