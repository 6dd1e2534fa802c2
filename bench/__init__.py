"""Speed and error of our own code against others, measured in one run on one machine: `make bench`."""
