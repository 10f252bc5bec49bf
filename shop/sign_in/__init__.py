"""Who may come in: passwords, the second factor, and how often one may guess."""
