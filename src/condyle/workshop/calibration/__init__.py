"""From what was felt and measured on coupons to fits, printer errors and friction, each with how sure it is."""
