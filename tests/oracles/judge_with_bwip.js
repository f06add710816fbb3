// Says of each code on standard input, as [kind, text] in a JSON array, what bwip-js has against it: null is nothing.
const bwipjs = require(process.argv[2]);

const said = JSON.parse(require("fs").readFileSync(0, "utf8")).map(([kind, text]) => {
    try {
        bwipjs.raw({ bcid: kind, text });
        return null;
    } catch (error) {
        return String(error.message ?? error);
    }
});
process.stdout.write(JSON.stringify(said));
