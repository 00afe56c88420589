"""What pages share: keys, lists to choose from, tab under a cursor, colours, results of threads."""
