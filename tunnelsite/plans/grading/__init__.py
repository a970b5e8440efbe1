"""The grading plan of a pad."""
