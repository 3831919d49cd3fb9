"""From findings to what people read: sentences, figures, one page. Nothing here computes a result."""
