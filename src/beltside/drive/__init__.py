"""Pulleys, belt and bearings: ratios and every order to expect. Plain values in and out."""
