"""Working figures of the plant: membranes, scaling, pre-treatment, disinfection, and how its parts fit in flow."""
