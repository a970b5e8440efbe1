"""Where the water of a graded pad goes."""
