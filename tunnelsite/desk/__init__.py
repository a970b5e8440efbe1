"""The desk: the whole job on a map in the browser, on the user's own machine; a thin server over the public functions."""
