"""One file per topic: descriptions of criteria and the few lines that call a kernel."""
