# The steps are the make targets that the tests run, so what is inside is tested.

FROM node:20-bookworm-slim AS assets
RUN apt-get update && apt-get install -y --no-install-recommends make && rm -rf /var/lib/apt/lists/*
WORKDIR /src
COPY Makefile ./
COPY web/assets web/assets
RUN make assets

FROM golang:1.26-bookworm AS build
WORKDIR /src
COPY go.mod go.sum ./
RUN go mod download
COPY . .
COPY --from=assets /src/web/assets/dist web/assets/dist
# -o: the bundle is there already, newer than its sources or not.
RUN make -o web/assets/dist/server.js build && mkdir /empty

FROM scratch
COPY --from=build /src/bin/doorleaf /doorleaf
COPY --from=build --chown=65532:65532 /empty /data
COPY --from=build --chown=65532:65532 /empty /tmp
USER 65532:65532
ENV DOORLEAF_DATA=/data
VOLUME /data
EXPOSE 8080
HEALTHCHECK --interval=30s --timeout=6s --start-period=5s CMD ["/doorleaf", "health", "http://127.0.0.1:8080"]
# The container's port is reached from elsewhere, so it does not start until the
# coordinators have a passphrase. Either set one in the volume, once:
#   docker run -it --rm -v doorleaf:/data IMAGE passphrase
# or give it a secret: -e DOORLEAF_PASSPHRASE_FILE=/run/secrets/doorleaf
# Add «serve --listen 0.0.0.0:8080 --host NAME» for the name that browsers use, and
# --behind-proxy where a proxy with TLS stands before it.
ENTRYPOINT ["/doorleaf"]
CMD ["serve", "--listen", "0.0.0.0:8080"]
