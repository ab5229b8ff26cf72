"""The recommended disposition of a batch, from its judged results and the release rules."""
