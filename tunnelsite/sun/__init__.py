"""Light at one point: sun, horizon, day length, shadows, cover and crops. Pure computation."""
