"""Tables of published constants, one module a source, the source named beside the numbers."""
