"""What follows the ranking: why a place ranks, how firm the ranking is, and how runs compare."""
