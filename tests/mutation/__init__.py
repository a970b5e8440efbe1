"""Mutation testing: the program is broken on purpose in sampled places, and the tests that run there have to notice."""
