"""The blocks that the models are fitted with: Laplace approximations, posterior draws, what draws are worth."""
