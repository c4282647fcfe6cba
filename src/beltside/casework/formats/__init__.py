"""The files people write: drive sheets and cases in TOML (docs/formats.md)."""
