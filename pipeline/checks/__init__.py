"""Row rules, findings, the Great Expectations gate, and the split of kept from rejected rows."""
