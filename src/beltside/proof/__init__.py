"""Charts and their wording: draws the results of `casework`."""
