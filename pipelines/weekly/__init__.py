"""The week as steps: what each is made from, where it is kept, and what may be pruned."""
