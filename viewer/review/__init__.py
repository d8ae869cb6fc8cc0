"""The page to look at before an import is trusted."""
