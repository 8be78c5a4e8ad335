"""Flask blueprints by reader: customer, bench, shop, account. Forms in, pages out, no decisions."""
