"""Writers: each output is written beside its place, verified, and only then put there."""
