"""A second opinion on the registry's arithmetic, by general-purpose libraries and random inputs."""
