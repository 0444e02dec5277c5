"""Pictures of results, made where they are asked for; matplotlib is imported then and not before."""
