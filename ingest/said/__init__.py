"""What people say of a study: notes, players, roles, the order of builds; what is forgotten and read again."""
