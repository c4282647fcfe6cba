"""Pages and the JSON interface: routes stay thin and call `casework`."""
