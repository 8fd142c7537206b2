# Errors that hold where rows spread unlike or resemble one another within bins, by
# dense matrices in base R alone, of cases/lamps.csv:
#   Rscript robust.R > ../tables/robust.json
here <- dirname(sub("--file=", "", grep("--file=", commandArgs(), value = TRUE)))
d <- read.csv(file.path(here, "../cases/lamps.csv"), stringsAsFactors = TRUE)
X <- model.matrix(~ bin + medium + start_g + light, d)
y <- d$mass_g
K <- solve(crossprod(X), t(X))
beta <- drop(K %*% y)
M <- diag(nrow(X)) - X %*% K
e <- drop(M %*% y)
own <- function(w, group) { # each group of rows has a spread of its own
  c <- drop(w %*% K)
  G <- model.matrix(~ 0 + group)
  B <- t(G) %*% M^2 %*% G
  s2 <- solve(B, t(G) %*% e^2)
  nu <- drop(t(G) %*% diag(M))^2 / diag(B)
  v <- drop(s2) * drop(t(G) %*% c^2)
  list(value = sum(w * beta), se = sqrt(sum(v)), df = sum(v)^2 / sum(v^2 / nu))
}
bybins <- function(w, bin) { # whole bins are the replicates
  c <- drop(w %*% K)
  g <- sapply(levels(bin), function(b) {
    i <- which(bin == b)
    E <- eigen(M[i, i], symmetric = TRUE)
    k <- E$values > 1e-9
    A <- E$vectors[, k, drop = FALSE] %*% diag(1 / sqrt(E$values[k]), sum(k)) %*% t(E$vectors[, k, drop = FALSE])
    drop(M[, i] %*% A %*% c[i])
  })
  u <- drop(t(g) %*% y) # since g = M a, this is aᵀ e
  P <- crossprod(g)
  list(value = sum(w * beta), se = sqrt(sum(u^2)), df = sum(diag(P))^2 / sum(P^2))
}
w <- list(light = +(colnames(X) == "light"), medium = +(colnames(X) == "mediumcoir"))
out <- lapply(w, function(w) list(own_spread = own(w, d$medium), by_bins = bybins(w, d$bin)))
json <- function(x) if (is.list(x)) paste0("{", paste0('"', names(x), '": ', vapply(x, json, ""), collapse = ", "), "}") else sprintf("%.12g", x)
cat(json(out), "\n")
