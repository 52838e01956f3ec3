"""The exercise catalogue: each drill makes a Part."""
