"""The settings of a run, from a project file, the command line or Python."""
