"""The stake-out of a house, and levels read at its stakes."""
