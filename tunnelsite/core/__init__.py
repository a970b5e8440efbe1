"""The vocabulary of the program: errors, units, grid, site, house, layers, criteria, processes, rubrics. No files."""
