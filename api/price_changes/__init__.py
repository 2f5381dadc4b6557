"""Whether a change of prices paid: the tables that changed, beside those that did not."""
