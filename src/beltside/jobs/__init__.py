"""The record: jobs, everything written on them with its history, stored files, analyses.

Nothing here knows what a take or a hold test is: a job holds entries, an entry has a kind, a body
of plain values, and every version it ever had. `casework` knows what the kinds mean.
"""
