"""Commands: parse, call `casework`, show."""
