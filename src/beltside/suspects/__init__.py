"""The catalogue of suspects and checks, their odds, and the next check. Plain values in and out."""
