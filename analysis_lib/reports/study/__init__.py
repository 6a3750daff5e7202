"""The pages about all riders: analysis, exhibits and words of a crossover, and the list of a study's pages."""
