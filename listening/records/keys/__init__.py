"""The key and how it is sealed; who may import it stands in the table of layers."""
