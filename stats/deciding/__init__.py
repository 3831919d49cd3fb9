"""What decides: the verdict, families of questions, looks, equivalence."""
