"""Many farms or a whole county: fixed groups of parcels, screened one by one, in any order, on any number of workers."""
