"""Undersong: from a number chart and a take to a verdict and the next tempo."""
