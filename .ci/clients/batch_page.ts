// The page of a phone: sends what was read offline by the generated client, from another origin than the service's.
import { recordReadings, type ReadingIn } from "./hey";
import { client } from "./hey/client.gen";

type Sent = { status: number | null; outcomes: string[]; problem: string | null };

async function sendBatch(service: string, token: string, readings: ReadingIn[]): Promise<Sent> {
  client.setConfig({ baseUrl: service, auth: () => token });
  const { data, error, response } = await recordReadings({ body: { readings } });
  return {
    status: response?.status ?? null,
    outcomes: data?.results.map((result) => result.outcome) ?? [],
    problem: error && "code" in error ? error.code : null,
  };
}

Object.assign(window, { sendBatch });
