"""Many classes in one folder of Parquet, asked by two engines that know nothing of each other."""
