"""Reads a settled case. Python 3.10 has no TOML reader, so pip's own copy serves there."""

try:
    import tomllib
except ModuleNotFoundError:
    from pip._vendor import tomli as tomllib


def read_case(text):
    return tomllib.loads(text)
